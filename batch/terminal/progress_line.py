"""One line at the terminal while files are read: the file in hand, and how much of all has been."""

from __future__ import annotations

import sys
import time
from typing import Protocol

from rushlight.batch.disks import size_text
from rushlight.pipelines.visible_text import visible

__all__ = ["ProgressLine"]


class Read(Protocol):
    """How far it is: the file being read, bytes read, and the bytes of all files."""

    @property
    def path(self) -> str: ...
    @property
    def done(self) -> int: ...
    @property
    def bytes(self) -> int: ...


class ProgressLine:
    """The line; `doing` is its first word."""

    def __init__(self, doing: str) -> None:
        self._doing = doing
        self._next = 0.0
        self._long = 0

    def __call__(self, progress: Read) -> None:
        """Draw it, a few times a second."""
        now = time.monotonic()
        if now < self._next or not progress.bytes:
            return
        self._next = now + 0.2
        share = 100 * min(progress.done, progress.bytes) // progress.bytes
        text = visible(f"{self._doing}: {share} % of {size_text(progress.bytes)}, {progress.path}")[:99]
        self._draw(text)

    def clear(self) -> None:
        """Leave nothing behind."""
        if self._long:
            self._draw("")
            self._draw("")

    def _draw(self, text: str) -> None:
        sys.stderr.write("\r" + text.ljust(self._long) + ("\r" if not text else ""))
        sys.stderr.flush()
        self._long = len(text)
