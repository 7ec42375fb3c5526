"""The console script: whether this system is supported is said before anything is loaded that Windows does not have (`fcntl`, `pwd`)."""

from __future__ import annotations

import sys

__all__ = ["main"]

UNSUPPORTED = "rushlight: Windows is not supported, and nothing was done; run it on Linux (macOS is untried)"


def main() -> None:
    """Run the command that was typed; on Windows say that it cannot be, and exit 2 (exit_codes.WRONG, which is not loaded yet)."""
    if sys.platform in ("win32", "cygwin"):
        sys.stderr.write(f"{UNSUPPORTED}\n")
        sys.exit(2)
    from rushlight.batch.cli.main import main as command

    command()
