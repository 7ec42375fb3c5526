"""The exit codes of every command."""

from __future__ import annotations

from typing import Final

__all__ = ["DONE", "FAULT", "PARTLY", "STOPPED", "WRONG"]

DONE: Final = 0
PARTLY: Final = 1  # some clips were set aside or failed (`plan`: some rows are wrong)
WRONG: Final = 2  # the request as a whole is wrong
STOPPED: Final = 3  # by a signal, or with work left
FAULT: Final = 4  # a fault of our own
