"""Decode ahead and encode behind: a thread on either side of the one that grades.

Libraries let go of the interpreter while they decode and encode, so a worker alone on two cores keeps both busy.
Order is kept on both sides, so results are the same as without.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable, Iterator
from enum import Enum
from types import TracebackType
from typing import Generic, Self, TypeVar

__all__ = ["Ahead", "Behind"]


class _End(Enum):
    """The mark that follows the last item."""

    END = "end"


_END = _End.END
T = TypeVar("T")


class Ahead(Generic[T]):
    """The items of an iterable, in order, `depth` of them made ahead of their use on a thread of their own.

    What the iterable raises is raised where its item was due. Use as a context: leaving it stops the thread
    after the item in hand.
    """

    def __init__(self, items: Iterable[T], *, depth: int = 1) -> None:
        self._items = items
        self._ready: queue.SimpleQueue[T | _End] = queue.SimpleQueue()
        self._room = threading.Semaphore(depth)
        self._stopped = False
        self._fault: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="decode", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            items = iter(self._items)
            while self._room.acquire() and not self._stopped:
                self._ready.put(next(items))
        except StopIteration:
            pass
        except BaseException as fault:
            self._fault = fault
        finally:
            self._ready.put(_END)

    def __iter__(self) -> Iterator[T]:
        while (item := self._ready.get()) is not _END:
            self._room.release()
            yield item
        if self._fault is not None:
            raise self._fault

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stopped = True
        self._room.release()
        self._thread.join()


class Behind:
    """Calls made one after the other on a thread of their own, up to `depth` behind those who ask for them.

    A call that raises ends the rest: its exception is raised at the next `do` or `finish`. Use as a context: leaving
    it by an exception drops what waits.
    """

    def __init__(self, *, depth: int = 2) -> None:
        self._waiting: queue.Queue[Callable[[], object] | _End] = queue.Queue(maxsize=depth)
        self._dropped = threading.Event()
        self._fault: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="encode", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while (call := self._waiting.get()) is not _END:
            if self._fault is None and not self._dropped.is_set():
                try:
                    call()
                except BaseException as fault:
                    self._fault = fault
            del call  # holds a frame

    def do(self, call: Callable[[], object]) -> None:
        """Have `call` made after those before it; waits while `depth` are waiting."""
        if self._fault is not None:
            raise self._fault
        self._waiting.put(call)

    def finish(self) -> None:
        """Wait until every call was made; raises what one of them raised."""
        self._waiting.put(_END)
        self._thread.join()
        if self._fault is not None:
            raise self._fault

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._dropped.set()
        if self._thread.is_alive():
            self._waiting.put(_END)
            self._thread.join()
