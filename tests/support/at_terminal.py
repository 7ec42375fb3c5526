"""`rushlight` in a terminal of its own."""

from __future__ import annotations

import os
import pty
import subprocess

from command import CALL


def at_a_terminal(*arguments: object, columns: int = 100) -> tuple[int, str]:
    """Run `rushlight …` in a terminal of its own; its exit code, and all that it wrote to the screen."""
    ours, theirs = pty.openpty()
    call = ["sh", "-c", f'stty cols {columns} rows 40; exec "$@"', "sh", *CALL, *map(str, arguments)]
    process = subprocess.Popen(
        call, stdin=theirs, stdout=theirs, stderr=theirs, env={**os.environ, "TERM": "xterm"}
    )
    os.close(theirs)
    seen = b""
    while True:
        try:
            block = os.read(ours, 65536)
        except OSError:  # the other side is closed
            break
        if not block:
            break
        seen += block
    os.close(ours)
    return process.wait(), seen.decode("utf-8", "replace")
