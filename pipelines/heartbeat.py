"""A count that grows while a process gets on: how one that hangs is told from one that is slow, and where long work may
be left.

Whatever can take long beats once a step: a frame rendered, a packet joined or read back, a block hashed, a row planned.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

__all__ = ["at_each_beat", "beat", "beating", "beats", "frame_made", "frames_made"]

T = TypeVar("T")
_count = 0
_frames: tuple[str, int] = ("", 0)
_call: ContextVar[Callable[[], object] | None] = ContextVar("at each beat", default=None)


def beat() -> None:
    """One more step was made in this process. Raises what `at_each_beat` has the thread's own call raise."""
    global _count
    _count += 1
    if call := _call.get():
        call()


def beats() -> int:
    """Steps made since the process started."""
    return _count


def frame_made(work: str) -> None:
    """One more frame was made of this piece of work, in this process."""
    global _frames
    _frames = (work, _frames[1] + 1 if _frames[0] == work else 1)


def frames_made() -> tuple[str, int]:
    """The piece of work that this process makes frames of, or made them of last, and how many."""
    return _frames


def beating(steps: Iterable[T]) -> Iterator[T]:
    """The same, with a beat ahead of each."""
    for step in steps:
        beat()
        yield step


@contextmanager
def at_each_beat(call: Callable[[], object]) -> Iterator[None]:
    """Have this called at each beat of this thread, in here; what it raises ends the work there."""
    token = _call.set(call)
    try:
        yield
    finally:
        _call.reset(token)
