"""Measuring pictures: tiles of mean colour, patches through a look. What `verify` compares.

A tile is the CIE L*a*b* (white D65) of the mean display-linear XYZ of one of 16x9 parts of the picture area, so
a codec's noise averages out and a wrong look does not. Pixels that burn-in covers are left out by both sides.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import Display, luma_weights
from rushlight.pipelines.formats.pixel_formats import PixelFormat
from rushlight.pipelines.measure.colour_difference import delta_e, lab

if TYPE_CHECKING:
    from rushlight.pipelines.colour.look import Look, ShowLut
    from rushlight.pipelines.grading.bake import Baked

__all__ = [
    "COLUMNS",
    "ROWS",
    "fault_tiles",
    "rgb_at",
    "sampled_frames",
    "sensitivity",
    "step_of",
    "tile_codes",
    "tile_lab",
    "uncovered",
]

COLUMNS, ROWS = 16, 9
Array = NDArray[np.float64]
Box = tuple[int, int, int, int]


def sampled_frames(count: int, rate: Fraction) -> tuple[int, ...]:
    """Frame numbers of a clip whose tiles are kept: first, middle, last and every ten seconds."""
    step = max(1, round(10 * rate))
    return tuple(sorted({0, count // 2, count - 1, *range(0, count, step)}))


def _edges(size: int, parts: int) -> list[int]:
    return [round(k * size / parts) for k in range(parts + 1)]


def uncovered(width: int, height: int, picture: Box, covered: Iterable[Box]) -> NDArray[np.bool_]:
    """The picture area's pixels (h, w) that burn-in leaves alone, by a pixel more than it touches."""
    open_ = np.ones((height, width), bool)
    for x, y, w, h in covered:
        open_[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1] = False
    x, y, w, h = picture
    return open_[y : y + h, x : x + w]


def _tile_means(values: Array, open_: NDArray[np.bool_]) -> Array:
    height, width = open_.shape
    rows, columns = _edges(height, ROWS), _edges(width, COLUMNS)
    weighted = np.where(open_[..., None], values, 0.0)
    at_r, at_c = np.array(rows[:-1]), np.array(columns[:-1])
    total = np.add.reduceat(np.add.reduceat(weighted, at_r, 0), at_c, 1)
    count = np.add.reduceat(np.add.reduceat(open_.astype(np.float64), at_r, 0), at_c, 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count[..., None] > 0, total / count[..., None], np.nan)


def display_rgb(
    planes: Sequence[NDArray[np.generic]], pixel_format: PixelFormat, levels: str, matrix: int, step: int = 1
) -> Array:
    """Display R'G'B' (h, w, 3) of decoded planes, every `step`th pixel; subsampled chroma is repeated, which a mean does not see."""
    rows, columns = np.arange(0, planes[0].shape[0], step), np.arange(0, planes[0].shape[1], step)
    return rgb_at(planes, pixel_format, levels, matrix, rows, columns)


def rgb_at(
    planes: Sequence[NDArray[np.generic]],
    pixel_format: PixelFormat,
    levels: str,
    matrix: int,
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
) -> Array:
    """Display R'G'B' (rows, columns, 3) of decoded planes where these pixels' rows and columns cross; chroma is that of the pixel."""
    from rushlight.pipelines.grading.grader import code_scale

    first = planes[0][np.ix_(rows, columns)].astype(np.float64)
    at = np.ix_(rows // pixel_format.sub_y, columns // pixel_format.sub_x)
    second, third = (p[at].astype(np.float64) for p in planes[1:3])
    if pixel_format.family == "rgb":
        top = 1.0 if pixel_format.is_float else float((1 << pixel_format.bits) - 1)
        return np.stack([first, second, third], -1) / top
    y_unit, y_zero, c_unit, c_zero = code_scale(pixel_format.bits, levels)  # type: ignore[arg-type]
    luma, cb, cr = (first - y_zero) / y_unit, (second - c_zero) / c_unit, (third - c_zero) / c_unit
    kr, kb = luma_weights(matrix)
    kg = 1 - kr - kb
    return np.stack(
        [
            luma + 2 * (1 - kr) * cr,
            luma - (2 * kb * (1 - kb) * cb + 2 * kr * (1 - kr) * cr) / kg,
            luma + 2 * (1 - kb) * cb,
        ],
        -1,
    )


def step_of(width: int) -> int:
    """Every how many pixels a tile is sampled: a raster of 640 is enough for a mean."""
    return max(1, width // 640)


def tile_lab_rgb(
    rgb: Array, display: Display, picture: Box, covered: Iterable[Box] = (), *, step: int | None = None
) -> Array:
    """(9, 16, 3) L*a*b* of display R'G'B' (h, w, 3); `step` says that `rgb` was thinned already."""
    width, height = (
        (rgb.shape[1], rgb.shape[0]) if step is None else (rgb.shape[1] * step, rgb.shape[0] * step)
    )
    thin = step_of(width) if step is None else step
    x, y, w, h = picture
    open_ = uncovered(width, height, (0, 0, width, height), covered)
    inside = np.zeros_like(open_)
    inside[y : y + h, x : x + w] = True
    open_ = (open_ & inside)[::thin, ::thin]
    values = rgb[::thin, ::thin] if step is None else rgb
    open_ = open_[: values.shape[0], : values.shape[1]]
    rows, columns = (
        np.flatnonzero(inside[::thin, ::thin].any(1)),
        np.flatnonzero(inside[::thin, ::thin].any(0)),
    )
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return lab(_tile_means(display.to_xyz(values[part]), open_[part]))


def tile_lab(
    planes: Sequence[NDArray[np.generic]],
    pixel_format: PixelFormat,
    levels: str,
    matrix: int,
    display: Display,
    picture: Box,
    covered: Iterable[Box] = (),
) -> Array:
    """(9, 16, 3) L*a*b* (D65) of the mean display-linear XYZ of each tile; NaN where all of a tile is covered."""
    step = step_of(planes[0].shape[1])
    rgb = display_rgb(planes, pixel_format, levels, matrix, step)
    return tile_lab_rgb(rgb, display, picture, covered, step=step)


def tile_codes(
    planes: Sequence[NDArray[np.generic]],
    pixel_format: PixelFormat,
    picture: Box,
    covered: Iterable[Box] = (),
) -> Array:
    """(9, 16, 3) mean codes of each tile, on the 10-bit scale: for state `log`, which has no display."""
    height, width = planes[0].shape
    full = [
        p
        if p.shape == planes[0].shape
        else np.repeat(np.repeat(p, pixel_format.sub_y, 0), pixel_format.sub_x, 1)[:height, :width]
        for p in planes
    ]
    x, y, w, h = picture
    values = np.stack([p[y : y + h, x : x + w].astype(np.float64) for p in full], -1) * 2.0 ** (
        10 - pixel_format.bits
    )
    return _tile_means(values, uncovered(width, height, picture, covered))


FAULTS = ("saturation 0.05", "slope 0.02")


def fault_tiles(look: Look, code: Array, baked: Baked | None = None) -> tuple[Array, dict[str, Array]]:
    """Tiles (9, 16, 3) of this picture's signal (h, w, 3) through the look, and what saturation 0.05 and slope 0.02
    more (in red) would move each of them by.

    By the exact look, or by `baked`, the same look in state `graded`, which costs less.
    """
    from dataclasses import replace

    from rushlight.pipelines.colour.cdl import CDL
    from rushlight.pipelines.grading.bake import regraded

    grade = look.cdl or CDL()
    box = (0, 0, code.shape[1], code.shape[0])

    def tiles(cdl: CDL | None) -> Array:
        moved = replace(look, cdl=cdl, show_lut=_ungraded(look))
        quick = regraded(baked, moved) if baked else None
        return tile_lab_rgb(quick.apply(code) if quick else moved.evaluate(code), look.display, box)

    base = tiles(look.cdl)
    more = (grade.slope[0] + 0.02, grade.slope[1], grade.slope[2])
    grades = (replace(grade, saturation=grade.saturation + 0.05), replace(grade, slope=more))
    return base, {name: tiles(cdl) - base for name, cdl in zip(FAULTS, grades, strict=True)}


def sensitivity(base: Array, moved: Mapping[str, Array]) -> dict[str, float]:
    """Mean CIEDE2000 over tiles that each fault moves a picture by."""
    return {name: round(float(np.nanmean(delta_e(base, base + off))), 4) for name, off in moved.items()}


def _ungraded(look: Look) -> ShowLut | None:
    from dataclasses import replace

    return replace(look.show_lut, contains_grade=False) if look.show_lut else None
