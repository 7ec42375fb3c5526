"""What makes an input cheap, and a wait short: nothing here is part of what the inputs are to prove."""

from __future__ import annotations

import os
import signal
import sqlite3
import time
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from here import HereFarm

__all__ = ["Farm", "at_ease"]

LONGEST = 2.0  # seconds that a night may wait for a person, such as for a disk that a row says is gone


class _Quick(sqlite3.Connection):
    """A database that does not wait for the disk."""

    def execute(self, sql: str, *given: Any) -> sqlite3.Cursor:
        return super().execute("PRAGMA synchronous=OFF" if "synchronous=" in sql else sql, *given)


def at_ease() -> None:
    """Wait for no disk: what a power cut leaves is for the nights' tests."""
    os.fsync = lambda handle: None  # type: ignore[assignment]
    sqlite3.connect = partial(sqlite3.connect, factory=_Quick)  # type: ignore[assignment]


@dataclass
class Farm(HereFarm):
    """A night on it that waits for longer than that is stopped by a signal, as a person would."""

    last: float = field(default_factory=time.monotonic)
    ended: bool = False

    def results(self, timeout: float) -> list[Any]:
        if self.waiting:
            found = super().results(timeout)
            self.last = time.monotonic()
            return found
        if time.monotonic() - self.last > LONGEST and not self.ended:
            self.ended = True
            os.kill(os.getpid(), signal.SIGTERM)
        return super().results(timeout)
