"""Baseline of an original's own pictures: black frames, repeated ones, clipped highlights; and what faults
would do.

Verify's yardstick: it warns of what a delivery shows and its original does not, and says 'cannot tell' where a small
wrong grade would not show.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Protocol

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.camera_encodings import Levels
from rushlight.pipelines.formats.pixel_formats import PixelFormat, planes
from rushlight.pipelines.grading.grader import source_scale
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import fit_of
from rushlight.pipelines.job.spec import MovieSpec, StillsSpec
from rushlight.pipelines.measure.colour_tiles import COLUMNS, display_rgb
from rushlight.pipelines.measure.colour_tiles import ROWS as ROWS_OF_TILES
from rushlight.pipelines.measure.luma_grid import luma_grid
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.framing import placement

__all__ = ["Baseline", "at_top", "framings", "original_of", "runs"]

NEAR_BLACK = 0.02  # of the signal above that of no light
NEAR_TOP = 1 / 256  # of the signal: how near a sample is to the brightest one to count as clipped
ROWS, WIDTH = 540, 640  # how far a picture is thinned


@dataclass(kw_only=True)
class Baseline:
    """Gathers, frame by frame, what one segment's original pictures are like."""

    pixel_format: PixelFormat
    levels: Levels
    matrix: int
    grids: list[list[float]] = field(default_factory=list)  # of each frame, 16 mean signals
    missing: list[int] = field(default_factory=list)  # places in `grids`
    clipped: list[float] = field(default_factory=list)  # of each sampled frame

    def note(self, image: av.VideoFrame, *, missing: bool, sampled: bool) -> None:
        """One frame, in the encoding that grades work in."""
        if missing:
            self.missing.append(len(self.grids))
        views = planes(image)
        step = max(1, views[0].shape[0] // ROWS)
        light = views[0][::step]
        if self.pixel_format.family == "rgb":
            light = np.maximum(np.maximum(light, views[1][::step]), views[2][::step])
        unit, zero, _, _ = source_scale(self.pixel_format, self.levels, self.levels)
        if self.pixel_format.is_float:
            light = np.rint(np.clip(np.nan_to_num(light), 0, 1) * 65535).astype(np.uint16)
            unit = 65535.0
        grid = luma_grid(light, (0, 0, light.shape[1], light.shape[0]))
        self.grids.append([round((mean - zero) / unit, 7) for mean in grid])
        if sampled:
            part = max(1, image.width // WIDTH)
            self.clipped.append(at_top(display_rgb(views, self.pixel_format, self.levels, self.matrix, part)))

    def kept(self) -> dict[str, object]:
        """As it stands beside a segment's pictures."""
        return {"grids": self.grids, "missing": self.missing, "clipped": self.clipped}


class Gathered(Protocol):
    """Figures that a `Baseline` has gathered, or the side file that it was kept in."""

    @property
    def grids(self) -> Sequence[Sequence[float]]: ...
    @property
    def missing(self) -> Sequence[int]: ...
    @property
    def clipped(self) -> Sequence[float]: ...


def at_top(rgb: NDArray[np.float64]) -> float:
    """The share of pixels (h, w, 3) whose largest component is the picture's largest: a flat top, as clipping leaves."""
    red, green, blue = np.moveaxis(np.nan_to_num(rgb), -1, 0)
    largest = np.maximum(np.maximum(red, green), blue)
    return round(float((largest >= largest.max() - NEAR_TOP).mean()), 5)


def original_of(segments: Sequence[Gathered], no_light: float) -> dict[str, object]:
    """Runs of black, repeated and missing frames (first, last; from 0) and the share that is clipped, of a whole clip
    in whose encoding no light has the signal `no_light`."""
    grids = np.array([g for s in segments for g in s.grids]).reshape(-1, 16)
    if not len(grids):
        return {}
    missing = np.zeros(len(grids), bool)
    first = 0
    for segment in segments:
        missing[[first + k for k in segment.missing]] = True
        first += len(segment.grids)
    black = (grids.max(1) <= no_light + NEAR_BLACK) & ~missing
    same = np.concatenate([[False], (grids[1:] == grids[:-1]).all(1)]) & ~missing
    clipped = [share for s in segments for share in s.clipped]
    return {
        "black": runs(black),
        "repeated": runs(same),
        "held": runs(missing),
        "clipped": round(float(np.mean(clipped)), 5) if clipped else None,
    }


def framings(
    outputs: Iterable[MovieSpec | StillsSpec], facts: Facts, signal: Signal, image: av.VideoFrame
) -> Iterator[tuple[list[str], NDArray[np.float64]]]:
    """For each framing of some outputs, their names and the picture area's signal R'G'B' at 160x90."""
    framed: dict[str, list[MovieSpec | StillsSpec]] = {}
    for output in outputs:
        shape = Fraction(output.width, output.height)
        framed.setdefault(f"{shape} {output.frame.model_dump_json()}", []).append(output)
    for alike in framed.values():
        fit = fit_of(alike[0].frame, alike[0].width, alike[0].height, facts)
        place = placement(fit, facts.width, facts.height, pixel_aspect=facts.pixel_aspect)
        small = replace(place, x=0, y=0, width=10 * COLUMNS, height=10 * ROWS_OF_TILES)
        yield [o.output for o in alike], signal.resampled(image, fit, small)


def runs(marked: Iterable[bool | np.bool_]) -> list[list[int]]:
    """First and last number of each run of marked places."""
    found: list[list[int]] = []
    for number, mark in enumerate(marked):
        if mark and found and found[-1][1] == number - 1:
            found[-1][1] = number
        elif mark:
            found.append([number, number])
    return found
