"""Who grades a segment's frames: the graphics card of this process, or the processor; and who graded which.

CuPy is looked for without being imported. The card is opened with the first frame that is graded, once a process: what a process
holds of a card does not survive a fork, and workers are forks.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from functools import cache
from importlib.util import find_spec

import numpy as np

from rushlight.pipelines.card.graphics import PROCESSOR, Graphics
from rushlight.pipelines.errors import CardError
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes
from rushlight.pipelines.grading.grader import Grader
from rushlight.pipelines.grading.kernel import Area, Planes, Source, Target, grade_rows
from rushlight.pipelines.grading.row_ops import Tables
from rushlight.pipelines.originals.framing import Fit, placement
from rushlight.pipelines.render.compiled import SIDE, plain_look

__all__ = ["WhoGrades", "why_no_card"]

POINTS = 33  # a side, of a look of noise


@cache
def _card_of_this_process() -> Graphics:
    return Graphics()


@cache
def _has_cupy() -> bool:
    return find_spec("cupy") is not None


def why_no_card() -> list[str]:
    """Why this process cannot use a graphics card, which is tried with a look of noise; empty where it can."""
    card = _card_of_this_process()
    if not card.why_not:
        source, target = find_pixel_format("yuv444p10le"), find_pixel_format("yuv420p10le")
        assert source and target
        lattice = np.random.default_rng(25).random((POINTS, POINTS, POINTS, 4), np.float32)
        look = replace(plain_look(), shaper=plain_look().shaper * (POINTS - 1), lattice=lattice)
        place = placement(Fit(width=SIDE, height=SIDE), SIDE, SIDE)
        grader = Grader(
            look,
            source=source,
            source_levels="narrow",
            target=target,
            width=SIDE,
            height=SIDE,
            placement=place,
            rows=card,
        )
        frame = new_frame(source, SIDE, SIDE)
        for plane in planes(frame):
            plane[:] = 512
        grader.grade(frame, 0)
    return [card.why_not] if card.why_not else []


def _asked_for(graphics: str) -> Graphics | None:
    """The card where one may be asked; None is the processor. CardError where it must be one, and none could ever be used."""
    if graphics == "off" or (graphics == "auto" and not _has_cupy()):
        return None
    card = _card_of_this_process()
    if graphics == "require" and not card.name:
        raise CardError(f"does not grade on a graphics card, as --graphics require asks: {card.why_not}")
    return card


@dataclass(kw_only=True)
class _Run:
    """Frames one after another that the same graded."""

    by: str
    first: int
    frames: int = 0


class WhoGrades:
    """Called as `grade_rows` is. `graphics`: auto, off or require (batch/farm/worker_options.py); the bytes are the same."""

    def __init__(self, graphics: str) -> None:
        self._asked = graphics  # empty once it is known who
        self._card: Graphics | None = None
        self._frame: set[str] = set()  # who graded any of its pictures
        self._runs: list[_Run] = []

    def __call__(
        self, given: Planes, source: Source, tables: Tables, taken: Planes, target: Target, area: Area
    ) -> tuple[int, int, int]:
        """As `grade_rows`. CardError as above."""
        if self._asked:
            self._card, self._asked = _asked_for(self._asked), ""
        counts = (self._card or grade_rows)(given, source, tables, taken, target, area)
        self._frame.add(self._card.by if self._card else PROCESSOR)
        return counts

    @property
    def why_not(self) -> str:
        """Why a card that was to be asked is not, or not any more; empty where none was, or CuPy is not installed."""
        return self._card.why_not if self._card else ""

    def note(self, number: int) -> None:
        """The pictures of a frame are made; nothing is kept of one of which none was graded."""
        if not self._frame:
            return
        by = " and ".join(sorted(self._frame))
        self._frame.clear()
        last = self._runs[-1] if self._runs else None
        if last is None or (last.by, last.first + last.frames) != (by, number):
            last = _Run(by=by, first=number)
            self._runs.append(last)
        last.frames += 1

    def kept(self) -> list[dict[str, object]]:
        """Who graded which frames: by whom, the first one's number in the original, how many."""
        return [asdict(run) for run in self._runs]
