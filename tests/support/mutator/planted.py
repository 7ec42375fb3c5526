"""Faults planted for the harness's own test: what it must find."""

from __future__ import annotations

import ctypes
import sqlite3
import time
import warnings
from pathlib import Path
from typing import Any

from mutator.kinds import Kind

__all__ = ["PLANTED"]


def _raises(path: Path) -> Any:
    raise ZeroDivisionError("planted")


def _dies(path: Path) -> Any:
    ctypes.string_at(0)


def _eats(path: Path) -> Any:
    return bytes((1 << 30) + (1 << 20))


def _loops(path: Path) -> Any:
    while True:
        pass


def _sleeps(path: Path) -> Any:
    time.sleep(3600)


def _wakes(path: Path) -> Any:
    while True:
        time.sleep(0.25)
        sum(range(200_000))


def _touches(path: Path) -> Any:
    (path.parents[2] / "outside" / "x").write_text("touched")


def _kind(name: str, read: Any) -> Kind:
    return Kind(
        name=name, group="texts", form="table", seeds=("day/day.csv",), calls=lambda *given: [], read=read
    )


def _warns(home: Path, path: Path, rng: Any) -> Any:
    from rushlight.batch.cli import plan_command

    whole = plan_command.show_plan

    def warned(*given: Any, **named: Any) -> int:
        plan_command.show_plan = whole
        warnings.warn("planted", RuntimeWarning, stacklevel=1)
        return whole(*given, **named)

    plan_command.show_plan = warned
    return [["plan", path]]


def _waits(home: Path, path: Path, rng: Any) -> Any:
    with sqlite3.connect(path) as queue:
        queue.execute("UPDATE job SET mount='/nowhere'")  # as of a disk that was unplugged
    queue.close()
    return [["queue", "run", "--queue", path]]


def _waits_silently(home: Path, path: Path, rng: Any) -> Any:
    from rushlight.batch.run.event_stream import EventStream

    EventStream.event = lambda self, event: None  # type: ignore[method-assign]
    return _waits(home, path, rng)


def _queue(calls: Any) -> Kind:
    return Kind(
        name=calls.__name__, group="folders", form="sqlite", seeds=("night/queue.sqlite",), calls=calls
    )


PLANTED = {
    **{f.__name__: _queue(f) for f in (_waits, _waits_silently)},
    **{f.__name__: _kind(f.__name__, f) for f in (_raises, _dies, _eats, _loops, _sleeps, _touches, _wakes)},
    "_warns": Kind(name="_warns", group="texts", form="table", seeds=("day/day.csv",), calls=_warns),
}
