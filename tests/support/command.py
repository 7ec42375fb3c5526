"""The command as its user runs it: a process of its own, with an exit code."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

CALL = [sys.executable, "-W", "ignore", "-c", "from rushlight.batch.cli.main import main; main()"]


def rushlight(
    *arguments: object, cwd: Path | None = None, timeout: float = 900, **env: str
) -> subprocess.CompletedProcess[str]:
    """Run `rushlight …` and give what it said."""
    return subprocess.run(
        [*CALL, *map(str, arguments)],
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=timeout,
        env={k: v for k, v in os.environ.items() if k != "COLUMNS"} | env,  # as wide as piped output is
    )


def started(*arguments: object, **options: Any) -> subprocess.Popen[str]:
    """The same, going on in the background; what it says goes to pipes unless `options` say otherwise."""
    piped: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    return subprocess.Popen([*CALL, *map(str, arguments)], **(piped | options))
