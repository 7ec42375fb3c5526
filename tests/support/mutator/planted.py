"""Faults planted for the harness's own test: what it must find."""

from __future__ import annotations

import ctypes
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


PLANTED = {
    **{f.__name__: _kind(f.__name__, f) for f in (_raises, _dies, _eats, _loops, _sleeps, _touches)},
    "_warns": Kind(name="_warns", group="texts", form="table", seeds=("day/day.csv",), calls=_warns),
}
