"""The frame path's machine code: compiled by one process of a machine at a time, and kept by numba for all that come later.

numba compiles a function for the types that it is called with. What differs between clips are the samples of the original
and of the output; each pair of them that a night needs is compiled by a call on a picture of sixteen by sixteen pixels.
"""

from __future__ import annotations

import fcntl
import os
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import cache

import numpy as np
from numba.core import event

from rushlight.pipelines.burnin.canvas import Canvas, Ink, draw
from rushlight.pipelines.formats.pixel_formats import (
    PixelFormat,
    find_pixel_format,
    new_frame,
    planes,
    whole_rows,
)
from rushlight.pipelines.grading.bake import Baked
from rushlight.pipelines.grading.grader import Grader
from rushlight.pipelines.grading.kernel import grade_rows
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.measure.loudness import Meter
from rushlight.pipelines.measure.original_baseline import Baseline
from rushlight.pipelines.originals.framing import Placement, Rect
from rushlight.pipelines.originals.resample import resampled
from rushlight.pipelines.render.kinds import Kind

__all__ = ["SIDE", "compile_kinds", "make_ready", "missing_kinds", "plain_look"]

COMPILED = (
    "numba:compile"  # numba's name for the event that a function is compiled; none for one that it loads
)
SIDE = 16


def missing_kinds(kinds: Iterable[Sequence[str | bool]]) -> list[Kind]:
    """Kinds that are not compiled yet on this machine, or by another version of the code. Nothing is
    compiled."""
    return [kind for kind in map(Kind._make, kinds) if not _is_there(kind)]


def compile_kinds(kinds: Iterable[Sequence[str | bool]]) -> list[Kind]:
    """Compile what is missing, while no other process of this machine does. Gives the kinds that were missing."""
    missing = missing_kinds(kinds)
    if missing:
        with _alone(), _told(beat):
            for kind in missing:
                _used(kind)
    return missing


@cache
def make_ready(kind: Kind) -> None:
    """Load what a kind needs, or compile it where nobody did before."""
    compile_kinds([kind])


class _Missing(Exception):
    """A function would have to be compiled."""


def _is_there(kind: Kind) -> bool:
    def refuse() -> None:
        raise _Missing

    try:
        with _told(refuse):
            _used(kind)
    except _Missing:
        return False
    return True


class _Listener(event.Listener):  # type: ignore[misc]
    def __init__(self, begun: Callable[[], None]) -> None:
        self.begun = begun

    def on_start(self, event: event.Event) -> None:
        self.begun()

    def on_end(self, event: event.Event) -> None: ...


@contextmanager
def _told(begun: Callable[[], None]) -> Iterator[None]:
    """Call `begun` before each function that is compiled in here."""
    with event.install_listener(COMPILED, _Listener(begun)):
        yield


@contextmanager
def _alone() -> Iterator[None]:
    """Wait until no other process of this machine is in here. Where its folder cannot be locked, nobody waits."""
    place = None
    try:
        with suppress(OSError):
            place = os.open(grade_rows.stats.cache_path, os.O_RDONLY | os.O_CLOEXEC)
            while not _locked(place):
                beat()
                time.sleep(0.1)
        yield
    finally:
        if place is not None:
            os.close(place)


def _locked(place: int) -> bool:
    try:
        fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _used(kind: Kind) -> None:
    """Call everything that is compiled for a kind, as a segment does, and a clip's sound."""
    source, target = _format(kind.source), _format(kind.target)
    whole = Placement(crop=Rect(x=0, y=0, width=SIDE, height=SIDE), x=0, y=0, width=SIDE, height=SIDE)
    grader = Grader(
        plain_look() if kind.graded else None,
        source=source,
        source_levels="narrow",
        target=target,
        width=SIDE,
        height=SIDE,
        placement=whole,
    )
    frame = new_frame(source, SIDE, SIDE)
    for plane in planes(frame):
        plane[:] = 0
    Baseline(pixel_format=source, levels="narrow", matrix=1).note(frame, missing=False, sampled=False)
    graded, _ = grader.grade(frame, 0)
    views = planes(graded)
    Baseline(pixel_format=target, levels="narrow", matrix=1).note(graded, missing=False, sampled=False)
    canvas = Canvas(SIDE, SIDE)
    canvas.lay(np.ones((4, 4), np.float32), np.ones((4, 4), np.float32), 0, 0)
    draw(whole_rows(views), canvas.strokes(target, Ink.of(target, "narrow")), target)
    Meter().add(np.zeros((2, SIDE)))
    if source.is_float:
        resampled(planes(frame)[0], SIDE // 2, SIDE // 2)


@cache
def plain_look() -> Baked:
    """A look that does nothing in particular, of the types that every look has."""
    line = np.linspace(0, 1, 2, dtype=np.float32)
    return Baked(
        lo=-1.0,
        hi=2.0,
        grade=None,
        saturation=1.0,
        clamp=False,
        shaper=np.stack([line] * 3),
        shaper_lo=-1.0,
        shaper_hi=2.0,
        lattice=np.zeros((2, 2, 2, 4), np.float32),
        light=None,
        direct=None,
        digest="",
    )


def _format(name: str) -> PixelFormat:
    found = find_pixel_format(name)
    assert found is not None
    return found
