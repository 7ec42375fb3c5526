"""The fast path: a frame's planes through a baked look into the planes of an output.

Levels and matrices: ITU-R BT.709-6, BT.601-7, BT.2020-2 item on digital representation; full levels by ITU-T
H.273 equations 26 to 28. Chroma goes in linearly and out by [1 2 1]/4 where it is co-sited (BT.709-6 item 3.8).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import av
import numpy as np
from numpy.typing import NDArray
from rushlight.pipelines.bake import Baked
from rushlight.pipelines.codecs import Siting
from rushlight.pipelines.display import luma_weights
from rushlight.pipelines.kernel import grade_rows
from rushlight.pipelines.pixels import PixelFormat, new_frame, planes
from rushlight.pipelines.raster import Placement

__all__ = ["Counts", "Grader", "code_scale", "to_rgb"]

Levels = Literal["narrow", "full"]
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
) -> NDArray[np.float64]:
    """The encoded signal R'G'B' (h, w, 3), float64, of a frame's planes: the exact path's way in."""
    first, second, third = (p.astype(np.float64) for p in planes(frame))
    y_unit, y_zero, c_unit, c_zero = source_scale(pixel_format, levels, chroma or levels)
    if pixel_format.family == "rgb":
        return (np.stack([first, second, third], -1) - y_zero) / y_unit
    height, width = first.shape
    luma = (first - y_zero) / y_unit
    cb, cr = (
        _full_size((p - c_zero) / c_unit, pixel_format, width, height, top_sited) for p in (second, third)
    )
    r_cr, g_cb, g_cr, b_cb = _rgb_weights(matrix)
    return np.stack([luma + r_cr * cr, luma + g_cb * cb + g_cr * cr, luma + b_cb * cb], -1)


def _full_size(
    plane: NDArray[np.float64], pixel_format: PixelFormat, width: int, height: int, top_sited: bool
) -> NDArray[np.float64]:
    """Chroma at luma's size, linear between samples; left-sited (or co-sited) horizontally."""
    if pixel_format.sub_y == 2:
        rows = np.arange(height)
        near = rows >> 1
        if top_sited:
            far = np.where(rows & 1, np.minimum(near + 1, plane.shape[0] - 1), near)
            weight = np.where(rows & 1, 0.5, 0.0)
        else:
            far = np.clip(np.where(rows & 1, near + 1, near - 1), 0, plane.shape[0] - 1)
            weight = np.full(height, 0.25)
        plane = plane[near] * (1 - weight[:, None]) + plane[far] * weight[:, None]
    if pixel_format.sub_x == 2:
        columns = np.arange(width)
        near = columns >> 1
        far = np.where((columns & 1) & (2 * near + 2 < width), np.minimum(near + 1, plane.shape[1] - 1), near)
        plane = plane[:, near] * 0.5 + plane[:, far] * 0.5
    return plane


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


class Grader:
    """One look, one raster: set up once, then `grade` frame by frame.

    `baked` None copies the original's codes (state `log`): the same subsampling and depth unchanged, others
    by filter and rounding, RGB into Y'CbCr by `target_matrix` at the original's levels.
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
        target: PixelFormat,
        target_levels: Levels = "narrow",
        target_matrix: int = 1,
        siting: Siting = "left",
        width: int,
        height: int,
        placement: Placement,
        dither: bool = True,
    ) -> None:
        self.baked, self.source, self.target = baked, source, target
        self.width, self.height, self.placement = width, height, placement
        self.siting = _SITING[siting]
        self.dither = dither and target.bits == 8 and baked is not None
        self._top_sited = source_top_sited
        self._levels: Levels = target_levels if baked is not None else source_levels
        unit = source_scale(source, source_levels, source_chroma or source_levels)
        weights = _rgb_weights(source_matrix) if source.family == "ycbcr" else (0.0, 0.0, 0.0, 0.0)
        self._source = np.array([1 / unit[0], unit[1], 1 / unit[2], unit[3], *weights], np.float32)
        out = code_scale(target.bits, self._levels)
        self._target = np.array([out[0], out[1], out[2], out[3], (1 << target.bits) - 1], np.float32)
        self._black = (out[1], out[3], out[3])
        kr, kb = luma_weights(target_matrix)
        self._to_ycbcr = np.array(
            [
                [kr, 1 - kr - kb, kb],
                [-kr / (2 * (1 - kb)), -(1 - kr - kb) / (2 * (1 - kb)), 0.5],
                [0.5, -(1 - kr - kb) / (2 * (1 - kr)), -kb / (2 * (1 - kr))],
            ]
        )
        if baked is not None:
            rgb = baked.lattice[..., :3].astype(np.float64)
            lattice = np.zeros(baked.lattice.shape, np.float32)
            # Written out term by term: a library's matrix product may differ in the last bit between processors.
            for k, row in enumerate(self._to_ycbcr):
                lattice[..., k] = (rgb[..., 0] * row[0] + rgb[..., 1] * row[1]) + rgb[..., 2] * row[2]
            self._lattice = lattice.reshape(-1)
            self._grade = _pairs(baked.grade if baked.grade is not None else np.zeros((3, 2), np.float32))
            self._shaper = _pairs(baked.shaper)
            self._ends, self._straight = _straight_lines(baked)

    def grade(self, frame: av.VideoFrame, number: int) -> tuple[av.VideoFrame, Counts]:
        """The output's frame, padding black, of a fitted source frame; `number` is the original's frame number."""
        out = new_frame(self.target, self.width, self.height)
        place = self.placement
        if (place.width, place.height) != (self.width, self.height):
            for plane, black in zip(planes(out), self._black, strict=True):
                plane[:] = int(black)
        if self.baked is None:
            self._copy(frame, out)
            return out, Counts(pixels=place.width * place.height, over=0, under=0, outside=0)
        p0, p1, p2 = planes(frame)
        if self.source.is_float:  # the kernel takes every sample for a number
            low, high = self.baked.lo, self.baked.hi
            p0, p1, p2 = (np.nan_to_num(p, nan=low, posinf=high, neginf=low) for p in (p0, p1, p2))
        q0, q1, q2 = planes(out)
        baked = self.baked
        curve_points = self._grade.shape[1] // 2 - 1
        over, under, outside = grade_rows(
            p0, p1, p2, self.source.family == "ycbcr", self.source.sub_x, self.source.sub_y, self._top_sited, self._source,
            self._grade, baked.grade is not None, np.float32(baked.saturation), baked.clamp,
            np.float32(baked.lo), np.float32(curve_points / (baked.hi - baked.lo)),
            self._shaper, np.float32(baked.shaper_lo),
            np.float32((baked.shaper.shape[1] - 1) / (baked.shaper_hi - baked.shaper_lo)),
            self._ends, self._straight, self._lattice, baked.size, q0, q1, q2, self.target.sub_x, self.target.sub_y, self.siting, self._target,
            place.x, place.y, place.width, place.height, self.dither, np.uint32(number & 0xFFFFFFFF),
            np.float32(baked.lo), np.float32(baked.hi),
        )  # fmt: skip
        return out, Counts(pixels=place.width * place.height, over=over, under=under, outside=outside)

    def _copy(self, frame: av.VideoFrame, out: av.VideoFrame) -> None:
        """State `log`: the codes themselves."""
        place = self.placement
        source = planes(frame)
        if self.source.family == "rgb":
            source = [p.astype(np.float64) for p in self._rgb_codes(frame)]
        bits = self.source.bits if not self.source.is_float else self.target.bits
        for index, (taken, given) in enumerate(zip(source, planes(out), strict=True)):
            sub_x, sub_y = (self.target.sub_x, self.target.sub_y) if index else (1, 1)
            plane = taken
            if index:
                plane = self._resampled(plane)
            if bits != self.target.bits or plane.dtype != given.dtype:
                scaled = plane.astype(np.float64) * 2.0 ** (self.target.bits - bits)
                plane = np.clip(np.floor(scaled + 0.5), 0, (1 << self.target.bits) - 1)
            x, y = place.x // sub_x, place.y // sub_y
            given[y : y + plane.shape[0], x : x + plane.shape[1]] = plane

    def _rgb_codes(self, frame: av.VideoFrame) -> list[NDArray[np.float64]]:
        """An RGB original's signal as Y'CbCr codes of its own depth and levels."""
        bits = self.source.bits if not self.source.is_float else self.target.bits
        y_unit, y_zero, c_unit, c_zero = code_scale(bits, self._levels)
        signal = [(p.astype(np.float64) - self._source[1]) * float(self._source[0]) for p in planes(frame)]
        rows = [sum(w * s for w, s in zip(row, signal, strict=True)) for row in self._to_ycbcr]
        return [
            y_zero + y_unit * np.asarray(rows[0]),
            c_zero + c_unit * np.asarray(rows[1]),
            c_zero + c_unit * np.asarray(rows[2]),
        ]

    def _resampled(self, plane: NDArray[np.generic]) -> NDArray[np.generic]:
        """A chroma plane at the target's subsampling; untouched where that is the source's."""
        have = (self.source.sub_x, self.source.sub_y) if self.source.family == "ycbcr" else (1, 1)
        want = (self.target.sub_x, self.target.sub_y)
        if have == want:
            return plane
        values: NDArray[np.float64] = plane.astype(np.float64)
        width, height = self.placement.width, self.placement.height
        if have != (1, 1):
            values = _full_size(values, self.source, width, height, self._top_sited)
        if want[0] == 2:
            padded = np.pad(values, ((0, 0), (1, 1)), "edge")
            values = 0.25 * (padded[:, 0:-2:2] + padded[:, 2::2]) + 0.5 * padded[:, 1:-1:2]
        if want[1] == 2:
            values = 0.5 * (values[0::2] + values[1::2])
        return values
