"""Cancel: a call of the API ended from another thread, as the first Ctrl-C ends its command."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rushlight.batch.interrupts import Stop, Stopped, cancellable
from rushlight.pipelines.errors import CancelledError

__all__ = ["Cancel", "reading"]


class Cancel:
    """Stops a call from any thread, as the first Ctrl-C does: nothing more is started, and what is in hand has 8 seconds.

    A list that is being read and planned is left at its next row, folder or block of an original. The same call goes on
    where this one ended.
    """

    def __init__(self) -> None:
        self.stop = Stop()

    def cancel(self) -> None:
        """Ask for it. Once is enough, and more do nothing."""
        if not self.stop.level:
            self.stop.ask()


@contextmanager
def reading(cancel: Cancel | None, end: str = "the list was read") -> Iterator[None]:
    """Work that only reads, and so gives nothing where it is cancelled before its `end`: CancelledError."""
    if cancel is None:
        yield
        return
    try:
        with cancellable(cancel.stop):
            yield
    except Stopped:
        if not cancel.stop.level:  # a signal
            raise
        raise CancelledError(f"it was cancelled before {end}") from None
