"""The fast path: a frame's planes through a baked look into the planes of an output.

Levels and matrices: ITU-R BT.709-6, BT.601-7, BT.2020-2 item on digital representation; full levels by ITU-T
H.273 equations 26 to 28. Chroma goes in linearly and out by [1 2 1]/4 where it is co-sited (BT.709-6 item 3.8).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import luma_weights
from rushlight.pipelines.formats.codecs import Siting
from rushlight.pipelines.formats.frame_pool import FramePool
from rushlight.pipelines.formats.pixel_formats import PixelFormat, planes
from rushlight.pipelines.grading.bake import Baked
from rushlight.pipelines.grading.kernel import (
    Area,
    Planes,
    Source,
    Target,
    chroma_rows,
    grade_rows,
    matrix_rows,
)
from rushlight.pipelines.grading.row_ops import Tables
from rushlight.pipelines.originals.framing import Placement

__all__ = ["Counts", "Grader", "Rows", "code_scale", "to_rgb"]

Levels = Literal["narrow", "full"]
Rows = Callable[[Planes, Source, Tables, Planes, Target, Area], tuple[int, int, int]]
_SITING = {"left": 0, "top-left": 1, "centre": 2}


@dataclass(frozen=True, kw_only=True)
class Counts:
    """Pixels of one frame with a component above 1 or below 0 of the encoded signal, or outside what a look spans."""

    pixels: int
    over: int
    under: int
    outside: int


def code_scale(bits: int, levels: Levels) -> tuple[float, float, float, float]:
    """Codes of one unit of luma, of luma 0, of one unit of chroma, and of chroma 0."""
    unit = float(1 << (bits - 8))
    if levels == "narrow":
        return 219.0 * unit, 16.0 * unit, 224.0 * unit, 128.0 * unit
    top = float((1 << bits) - 1)
    return top, 0.0, top, 128.0 * unit


def source_scale(
    pixel_format: PixelFormat, levels: Levels, chroma: Levels
) -> tuple[float, float, float, float]:
    """As `code_scale` for an original. A file whose maker's table states file codes has its curve on the codes
    0..1023 (`full`), while its chroma was made for narrow luma: `chroma` is then `narrow`."""
    if pixel_format.is_float:
        return 1.0, 0.0, 1.0, 0.0
    scale = code_scale(pixel_format.bits, levels)
    if levels == "full" and chroma == "narrow":
        narrow = code_scale(pixel_format.bits, "narrow")
        return scale[0], scale[1], narrow[2] * scale[0] / narrow[0], scale[3]
    return scale


def _rgb_weights(matrix: int) -> tuple[float, float, float, float]:
    kr, kb = luma_weights(matrix)
    kg = 1 - kr - kb
    return 2 * (1 - kr), -2 * kb * (1 - kb) / kg, -2 * kr * (1 - kr) / kg, 2 * (1 - kb)


def to_rgb(
    frame: av.VideoFrame,
    pixel_format: PixelFormat,
    levels: Levels,
    matrix: int,
    *,
    chroma: Levels | None = None,
    top_sited: bool = False,
    siting: Siting | None = None,
    rows: slice = slice(None),
) -> NDArray[np.float64]:
    """The encoded signal R'G'B' (h, w, 3), float64, of a frame's planes: the exact path's way in. `rows`: of these alone."""
    siting = siting or ("top-left" if top_sited else "left")
    first, second, third = planes(frame)
    y_unit, y_zero, c_unit, c_zero = source_scale(pixel_format, levels, chroma or levels)
    if pixel_format.family == "rgb":
        return (np.stack([p[rows].astype(np.float64) for p in (first, second, third)], -1) - y_zero) / y_unit
    height, width = first.shape
    luma = (first[rows].astype(np.float64) - y_zero) / y_unit
    at = np.arange(height)[rows]
    cb, cr = (_full_size(p, c_zero, c_unit, pixel_format, at, width, siting) for p in (second, third))
    r_cr, g_cb, g_cr, b_cb = _rgb_weights(matrix)
    return np.stack([luma + r_cr * cr, luma + g_cb * cb + g_cr * cr, luma + b_cb * cb], -1)


def _full_size(
    plane: NDArray[np.generic],
    zero: float,
    unit: float,
    pixel_format: PixelFormat,
    rows: NDArray[np.intp],
    width: int,
    siting: Siting,
) -> NDArray[np.float64]:
    """Chroma in these rows of luma and at its width, linear between samples, which lie where `siting` says."""

    def scaled(codes: NDArray[np.generic]) -> NDArray[np.float64]:
        return (codes.astype(np.float64) - zero) / unit

    if pixel_format.sub_y == 2:
        upper, lower, part = _between(rows, plane.shape[0], 0.0 if siting == "top-left" else 0.5)
        found = scaled(plane[upper]) * (1 - part)[:, None] + scaled(plane[lower]) * part[:, None]
    else:
        found = scaled(plane[rows])
    if pixel_format.sub_x == 2:
        left, right, part = _between(np.arange(width), plane.shape[1], 0.5 if siting == "centre" else 0.0)
        found = found.take(left, 1) * (1 - part) + found.take(right, 1) * part
    return found


def _between(
    places: NDArray[np.intp], samples: int, first: float
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
    """Of places among samples that lie at `first`, `first` + 2, …: the sample before, the one after and the share of that; the
    outermost are held."""
    place = np.clip((places - first) / 2, 0, samples - 1)
    before = np.minimum(place.astype(np.intp), max(samples - 2, 0))
    return before, np.minimum(before + 1, samples - 1), place - before


def _pairs(table: NDArray[np.float32]) -> NDArray[np.float32]:
    """Each row of a piecewise-linear table as points interleaved with the step to the next."""
    step = np.diff(table, axis=1, append=table[:, -1:])
    return np.ascontiguousarray(np.stack([table, step], -1).reshape(len(table), -1), np.float32)


def _straight_lines(baked: Baked) -> tuple[NDArray[np.float32], bool]:
    """Slope and offset of the shaper below 0, between 0 and 1, and above 1, if three such lines are all it is."""
    low, high = baked.shaper_lo, baked.shaper_hi
    signal = np.linspace(low, high, baked.shaper.shape[1])
    table = baked.shaper[0].astype(np.float64)
    at = np.interp([low, 0.0, 1.0, high], signal, table)
    ends: list[float] = []
    for k, (x0, x1) in enumerate(((low, 0.0), (0.0, 1.0), (1.0, high))):
        slope = (at[k + 1] - at[k]) / (x1 - x0)
        ends += [float(slope), float(at[k] - slope * x0)]
    below, inside, above = (signal * ends[k] + ends[k + 1] for k in (0, 2, 4))
    same = np.abs(np.minimum(np.maximum(inside, below), above) - table).max() < 1e-4
    alike = bool((baked.shaper == baked.shaper[:1]).all())
    return np.array(ends, np.float32), bool(same and alike)


def _ycbcr_weights(matrix: int) -> NDArray[np.float64]:
    """(3, 3): Y'CbCr of R'G'B'."""
    kr, kb = luma_weights(matrix)
    kg = 1 - kr - kb
    rows = [
        [kr, kg, kb],
        [-kr / (2 * (1 - kb)), -kg / (2 * (1 - kb)), 0.5],
        [0.5, -kg / (2 * (1 - kr)), -kb / (2 * (1 - kr))],
    ]
    return np.array(rows, np.float64)


@lru_cache(maxsize=8)
def _tables(baked: Baked, matrix: int) -> Tables:
    """A baked look for the kernel, kept for the next segment. The lattice's values become Y'CbCr, but for light: the matrix is linear, so it may go first."""
    weights = _ycbcr_weights(matrix)
    lattice = baked.lattice
    if baked.light is None:
        rgb = lattice[..., :3].astype(np.float64)
        lattice = np.zeros(baked.lattice.shape, np.float32)
        # Written out term by term: a library's matrix product may differ in the last bit between processors.
        for k, row in enumerate(weights):
            lattice[..., k] = (rgb[..., 0] * row[0] + rgb[..., 1] * row[1]) + rgb[..., 2] * row[2]
    grade = baked.grade if baked.grade is not None else np.zeros((3, 2), np.float32)
    lines, straight = _straight_lines(baked)
    steps = 4 * np.array([baked.size**2, baked.size, 1])
    return Tables(
        graded=baked.grade is not None,
        grade=_pairs(grade),
        grade_at=_places(baked.lo, baked.hi, grade.shape[1]),
        saturation=np.float32(baked.saturation),
        clamp=baked.clamp,
        straight=straight,
        lines=lines,
        shaper=_pairs(baked.shaper),
        shaper_at=_places(baked.shaper_lo, baked.shaper_hi, baked.shaper.shape[1]),
        lattice=lattice.reshape(-1),
        size=baked.size,
        steps=steps.astype(np.float32),
        whole=steps.astype(np.int32),
        inside=np.nextafter(np.float32(baked.size - 1), np.float32(0)),
        lit=baked.light is not None,
        direct=np.zeros(0) if baked.direct is None else baked.direct.astype(np.float64),
        light=_pairs(np.zeros((1, 2), np.float32) if baked.light is None else baked.light[None])[0],
        weights=weights.astype(np.float32),
        span=np.array([baked.lo, baked.hi], np.float32),
    )


def _places(low: float, high: float, points: int) -> NDArray[np.float32]:
    last = np.float32(points - 1)
    return np.array([low, (points - 1) / (high - low), last, np.nextafter(last, np.float32(0))], np.float32)


def _planes(frame: av.VideoFrame, pixel_format: PixelFormat, siting: int) -> Planes:
    """A frame's planes for the kernel: whole rows, padding included, so that all are contiguous."""
    first, second, third = (
        np.frombuffer(memoryview(plane), pixel_format.dtype).reshape(
            -1, plane.line_size // pixel_format.dtype.itemsize
        )
        for plane in (frame.planes[index] for index in pixel_format.order)
    )
    return Planes(first, second, third, pixel_format.sub_x, pixel_format.sub_y, siting)


def _at_depth(codes: NDArray[np.generic], bits: int, wanted: int) -> NDArray[np.generic]:
    """Codes at another depth, as 10-bit codes are four times 8-bit ones; rounded half up."""
    if bits == wanted:
        return codes
    if bits < wanted:
        return codes.astype(np.uint16) << (wanted - bits)
    step = bits - wanted
    return np.minimum((codes.astype(np.uint32) + (1 << (step - 1))) >> step, (1 << wanted) - 1)


class Grader:
    """One look, one raster: set up once, then `grade` frame by frame.

    `baked` None copies the original's codes (state `log`): the same subsampling and depth unchanged, others
    by filter and rounding, RGB into Y'CbCr by `target_matrix` at the original's levels. `rows` is who grades: the
    processor's kernel, or a card's, of the same face and the same bits.
    """

    def __init__(
        self,
        baked: Baked | None,
        *,
        source: PixelFormat,
        source_levels: Levels,
        source_chroma: Levels | None = None,
        source_matrix: int = 1,
        source_top_sited: bool = False,
        source_siting: Siting | None = None,
        target: PixelFormat,
        target_levels: Levels = "narrow",
        target_matrix: int = 1,
        siting: Siting = "left",
        width: int,
        height: int,
        placement: Placement,
        dither: bool = True,
        rows: Rows = grade_rows,
    ) -> None:
        self.baked, self.source, self.target = baked, source, target
        self.width, self.height, self.placement = width, height, placement
        self.frames = FramePool(target, width, height)  # give back there what `grade` gave
        self._rows = rows
        self._siting = _SITING[siting]
        self._source_siting = _SITING[source_siting or ("top-left" if source_top_sited else "left")]
        self._levels: Levels = target_levels if baked is not None else source_levels
        unit = source_scale(source, source_levels, source_chroma or source_levels)
        weights = _rgb_weights(source_matrix) if source.family == "ycbcr" else (0.0, 0.0, 0.0, 0.0)
        self._source = Source(
            ycbcr=source.family == "ycbcr",
            levels=np.array([1 / unit[0], unit[1], 1 / unit[2], unit[3]], np.float32),
            matrix=np.array(weights, np.float32),
        )
        out = code_scale(target.bits, self._levels)
        self._target = Target(
            levels=np.array([*out, (1 << target.bits) - 1], np.float32),
            dither=dither and target.bits == 8 and baked is not None,
            number=np.uint32(0),
        )
        self._area = Area(left=placement.x, top=placement.y, width=placement.width, height=placement.height)
        self._black = (out[1], out[3], out[3])
        self._weights = _ycbcr_weights(target_matrix)
        self._tables = _tables(baked, target_matrix) if baked is not None else None

    def grade(self, frame: av.VideoFrame, number: int) -> tuple[av.VideoFrame, Counts]:
        """The output's frame, padding black, of a fitted source frame; `number` is the original's frame number."""
        out = self.frames.take()
        place = self.placement
        if (place.width, place.height) != (self.width, self.height):
            for plane, black in zip(planes(out), self._black, strict=True):
                plane[:] = int(black)
        if self._tables is None:
            self._copy(frame, out)
            return out, Counts(pixels=place.width * place.height, over=0, under=0, outside=0)
        over, under, outside = self._rows(
            _planes(frame, self.source, self._source_siting),
            self._source,
            self._tables,
            _planes(out, self.target, self._siting),
            self._target._replace(number=np.uint32(number & 0xFFFFFFFF)),
            self._area,
        )
        return out, Counts(pixels=place.width * place.height, over=over, under=under, outside=outside)

    def _copy(self, frame: av.VideoFrame, out: av.VideoFrame) -> None:
        """State `log`: the codes themselves."""
        source, target = self.source, self.target
        given = _planes(frame, source, self._source_siting)
        taken = _planes(out, target, self._siting)
        if source.family == "rgb":
            matrix_rows(given, self._source, self._weights, taken, self._target, self._area)
            return
        have, want = (source.sub_x, source.sub_y), (target.sub_x, target.sub_y)
        for index, (codes, place) in enumerate(zip(planes(frame), planes(out), strict=True)):
            if index and have != want:
                break
            across, down = want if index else (1, 1)
            x, y = self._area.left // across, self._area.top // down
            place[y : y + codes.shape[0], x : x + codes.shape[1]] = _at_depth(codes, source.bits, target.bits)
        if have != want:
            area = self._area
            if source.sub_x == target.sub_x == 2:  # nothing to do across: rows of half the width
                given, taken = given._replace(sub_x=1), taken._replace(sub_x=1)
                area = area._replace(left=area.left // 2, width=(area.width + 1) // 2)
            steps = np.array([1, 0, 2.0 ** (target.bits - source.bits), 0], np.float32)
            same = self._target._replace(levels=np.array([1, 0, 1, 0, (1 << target.bits) - 1], np.float32))
            chroma_rows(given, self._source._replace(levels=steps), taken, same, area)
