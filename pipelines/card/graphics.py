"""Who grades: a card where one is there and gives the processor's bits, else the processor, and why."""

from __future__ import annotations

import ctypes
import os
import warnings
from importlib import import_module
from importlib.util import find_spec

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.card.card import Card
from rushlight.pipelines.grading.grader import Rows
from rushlight.pipelines.grading.kernel import Area, Planes, Source, Target, grade_rows
from rushlight.pipelines.grading.row_ops import Tables

__all__ = ["PROCESSOR", "Graphics", "load_ahead"]

PROCESSOR = "processor"
WIDTH, HEIGHT, SIDES = 66, 34, 2  # of the picture that both grade, and the output beside it
KEPT = 8  # looks and formats whose test is remembered, with 5 MB of tables each
AGAIN = 240  # frames after which a test is made again
# Sixteen bits at 4:4:4, where another last bit of the arithmetic shows in hundreds of codes.
FINE = Target(levels=np.array([65535, 0, 65535, 32768, 65535], np.float32), dither=False, number=np.uint32(0))


def load_ahead() -> bool:
    """Import CuPy where it is installed, in a process that workers will be forks of. It reaches for nothing of CUDA, which survives no
    fork, before it is asked for a card. Gives whether it is there."""
    if find_spec("cupy") is None:
        return False
    with warnings.catch_warnings(action="ignore"):
        import_module("cupy")
    return True


class Graphics:
    """Called as `grade_rows` is, and gives the same bytes and counts, whoever it asks.

    Each look is tried first and again every `AGAIN` frames, in the formats at hand and finer ones: a chart and noise, by the card and by
    the processor. If one byte differs, or CuPy raises anything, then or for a frame, the card is not asked again, and the frame is the
    processor's. A process that is forked begins anew: what its parent has of a card is not its own.
    """

    def __init__(self) -> None:
        self._begin()

    def _begin(self) -> None:
        self._process = os.getpid()
        self._card: Card | None = None
        self._tried: dict[tuple[object, ...], tuple[Tables, int]] = {}  # which hold their ids; frames since
        self.name = ""  # of the card, as its maker calls it
        self.why_not = ""  # the card is not asked
        self.by = PROCESSOR  # who graded the last frame: that, or the card by its name
        try:
            with warnings.catch_warnings(action="ignore"):  # of CuPy, on what it might be faster with
                self._card = Card()
            self._card.open()
            self.name = self._card.name
        except Exception as error:  # of Python, CUDA, its driver or its compiler: a dozen kinds
            if isinstance(error, ModuleNotFoundError) and error.name == "cupy":
                self._lose("CuPy is not installed; pip install 'rushlight[cuda]' installs it")
            elif isinstance(error, ImportError):
                self._lose(f"CuPy cannot be loaded: {_said(error)}")
            else:
                self._lose(f"no card can be used: {_said(error)}")

    @property
    def memory(self) -> tuple[int, int]:
        """Bytes of the card that are free, and all that it has; none of a card that is not asked."""
        return self._card.memory if self._card else (0, 0)

    def __call__(
        self, given: Planes, source: Source, tables: Tables, taken: Planes, target: Target, area: Area
    ) -> tuple[int, int, int]:
        """As `grade_rows`."""
        if self._process != os.getpid():
            _never_let_go(self._card)
            self._begin()
        self.by = PROCESSOR
        if self._card and not (area.left % taken.sub_x or area.top % taken.sub_y):
            try:
                if self._is_equal(self._card, given, source, tables, taken, target):
                    counts = self._card(given, source, tables, taken, target, area)
                    self.by = self.name
                    return counts
            except Exception as error:
                self._lose(f"the card failed: {_said(error)}")
        return grade_rows(given, source, tables, taken, target, area)

    def _is_equal(
        self, card: Card, given: Planes, source: Source, tables: Tables, taken: Planes, target: Target
    ) -> bool:
        """Whether both grade the same, or did when they were asked not long ago."""
        facts = (*source, *target[:2], *given[3:], *taken[3:], given.first.dtype, taken.first.dtype)
        key = (id(tables), *(f.tobytes() if isinstance(f, np.ndarray) else f for f in facts))
        known = key in self._tried
        _, frames = self._tried.pop(key, (tables, AGAIN))
        if frames >= AGAIN:
            if not self._test(card, given, source, tables, taken, target):
                since = f"; it did {AGAIN} frames of this look ago, and may not have since" if known else ""
                self._lose(f"{self.name} did not give the processor's colour in a test{since}")
                return False
            frames = 0
        while len(self._tried) >= KEPT:
            del self._tried[next(iter(self._tried))]
        self._tried[key] = tables, frames + 1
        return True

    @staticmethod
    def _test(
        card: Card, given: Planes, source: Source, tables: Tables, taken: Planes, target: Target
    ) -> bool:
        picture = _picture(given, source)
        fine = taken._replace(first=np.zeros((0, 0), np.uint16), sub_x=1, sub_y=1)
        return all(
            _graded(card, picture, source, tables, like, way)
            == _graded(grade_rows, picture, source, tables, like, way)
            for like, way in ((taken, target), (fine, FINE))
        )

    def _lose(self, why: str) -> None:
        _never_let_go(self._card)
        self._card, self.why_not = None, why


def _never_let_go(card: Card | None) -> None:
    """What a card that failed has of CUDA would be given back to it, and fail once more, with words of CuPy's on the terminal; of a
    card that hangs it is still written to; and a fork's is its parent's. It goes with the process."""
    if card is not None:
        ctypes.pythonapi.Py_IncRef(ctypes.py_object(card))


def _graded(
    rows: Rows, picture: Planes, source: Source, tables: Tables, like: Planes, target: Target
) -> tuple[object, ...]:
    """Counts, and an output's bytes."""
    out = _planes(like, [np.zeros(size, like.first.dtype) for size in _sizes(like, 2 * SIDES)])
    counts = rows(
        picture, source, tables, out, target, Area(left=SIDES, top=SIDES, width=WIDTH, height=HEIGHT)
    )
    return counts, *(plane.tobytes() for plane in out[:3])


def _said(error: Exception) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__


def _sizes(like: Planes, more: int = 0) -> list[tuple[int, int]]:
    width, height = WIDTH + more, HEIGHT + more
    chroma = -(-height // like.sub_y), -(-width // like.sub_x)
    return [(height, width), chroma, chroma]


def _planes(like: Planes, arrays: list[NDArray[np.generic]]) -> Planes:
    return like._replace(first=arrays[0], second=arrays[1], third=arrays[2])


def _picture(like: Planes, source: Source) -> Planes:
    """A chart of ramps above, noise of every code below; of floats, what lies outside 0..1 as well."""
    rng, kind = np.random.default_rng(1), like.first.dtype
    top = 2.0 ** np.ceil(np.log2(1 / source.levels[0])) if kind.kind == "u" else 1.0
    arrays: list[NDArray[np.generic]] = []
    for height, width in _sizes(like):
        values = rng.uniform(0, 1, (height, width))
        values[: height // 2] = np.linspace(0, 1, width)
        values = values * top if kind.kind == "u" else values * 2 - 0.5
        arrays.append(np.minimum(values, top - 1 if kind.kind == "u" else 2.0).astype(kind))
    return _planes(like, arrays)
