"""Scopes of a delivered picture: RGB parade, vectorscope and CIE 1976 chromaticity as counts, and where known colours lie on them.

They are measured on display R'G'B' (h, w, 3) as decoded from the delivered codes, 0 at black and 1 at reference white. NaN counts nowhere;
what lies beyond a scope's edge counts at its edge, so that the counts of a picture add up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.displays import Display, luma_weights

__all__ = [
    *("BARS", "CHROMA", "COLUMNS", "DARK", "HIGH", "LOW", "ROWS", "SIDE", "UV"),
    *("Scopes", "bar_targets", "chromaticity", "parade", "place_of", "scopes", "uv", "vectorscope", "ycbcr"),
]

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

LOW, HIGH = -0.1, 1.1  # signal of the parade's foot and head
ROWS, COLUMNS = 240, 160  # of the parade, each component
SIDE = 256  # of vectorscope and chromaticity
CHROMA = 0.6  # Cb and Cr reach from -CHROMA to CHROMA; 0.5 is full saturation
UV = 0.65  # u' and v' reach from 0 to UV
DARK = 0.002  # luminance, of white, below which a pixel's chromaticity is noise
WIDE = 640  # pixels across that are enough

# R', G', B' of the colour bars of SMPTE RP 219-1, from left to right.
BARS: Mapping[str, tuple[float, float, float]] = {
    "white": (1, 1, 1),
    "yellow": (1, 1, 0),
    "cyan": (0, 1, 1),
    "green": (0, 1, 0),
    "magenta": (1, 0, 1),
    "red": (1, 0, 0),
    "blue": (0, 0, 1),
}


@dataclass(frozen=True, kw_only=True)
class Scopes:
    """Pixels counted: `parade` (3, ROWS, COLUMNS) with its foot in row 0, `vectorscope` and `chromaticity` (SIDE, SIDE) with Cr and
    v' rising by row, Cb and u' by column. `dark` pixels are on no chromaticity."""

    parade: Counts
    vectorscope: Counts
    chromaticity: Counts
    dark: int


def scopes(rgb: ArrayLike, display: Display) -> Scopes:
    """All three of a picture, from at most some 640 pixels across."""
    values = np.asarray(rgb, np.float64)
    step = max(1, values.shape[1] // WIDE)
    thin = values[::step, ::step]
    colours, dark = chromaticity(thin, display)
    return Scopes(
        parade=parade(thin), vectorscope=vectorscope(thin, display.matrix), chromaticity=colours, dark=dark
    )


def parade(rgb: ArrayLike) -> Counts:
    """Pixels of each component by signal (row) and place across (column)."""
    values = np.asarray(rgb, np.float64)
    across = np.arange(values.shape[1]) * COLUMNS // values.shape[1]
    found = np.zeros((3, ROWS, COLUMNS), np.int64)
    for k in range(3):
        level = values[..., k]
        known = ~np.isnan(level)
        cell = _bins(level, LOW, HIGH, ROWS) * COLUMNS + np.broadcast_to(across, level.shape)
        found[k] = np.bincount(cell[known], minlength=ROWS * COLUMNS).reshape(ROWS, COLUMNS)
    return found


def vectorscope(rgb: ArrayLike, matrix: int) -> Counts:
    """Pixels by Cr (row) and Cb (column) of an H.273 matrix, SIDE bins from -CHROMA to CHROMA."""
    _, cb, cr = np.moveaxis(ycbcr(rgb, matrix), -1, 0)
    return _plane(cb, cr, -CHROMA, CHROMA)


def chromaticity(rgb: ArrayLike, display: Display) -> tuple[Counts, int]:
    """Pixels by v' (row) and u' (column), SIDE bins from 0 to UV; and how many are too dark to have one."""
    values = np.asarray(rgb, np.float64).reshape(-1, 3)
    values = values[~np.isnan(values).any(-1)]
    xyz = display.to_light(values) @ display.gamut.to_xyz().T
    bright = xyz[:, 1] > DARK
    places = uv(xyz[bright])
    return _plane(places[:, 0], places[:, 1], 0.0, UV), int((~bright).sum())


def ycbcr(rgb: ArrayLike, matrix: int) -> Array:
    """Y' (0..1), Cb and Cr (-0.5..0.5), (..., 3), of R'G'B' by an H.273 matrix: ITU-R BT.709-6, items 3.2 and 3.3; BT.2020-2, table 4."""
    values = np.asarray(rgb, np.float64)
    kr, kb = luma_weights(matrix)
    with np.errstate(invalid="ignore"):  # infinities
        luma = values @ np.array([kr, 1 - kr - kb, kb])
        cb, cr = (values[..., 2] - luma) / (2 * (1 - kb)), (values[..., 0] - luma) / (2 * (1 - kr))
    return np.stack([luma, cb, cr], -1)


def uv(xyz: ArrayLike) -> Array:
    """u'v' (..., 2) of XYZ (..., 3): CIE 15:2018, section 8.2.1, CIE 1976 UCS diagram. No light gives NaN."""
    values = np.asarray(xyz, np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        whole = values @ np.array([1.0, 15.0, 3.0])
        found: Array = np.stack([4 * values[..., 0] / whole, 9 * values[..., 1] / whole], -1)
    return found


def bar_targets(matrix: int, level: float = 0.75) -> dict[str, tuple[float, float]]:
    """Cb and Cr of the six colours of the bars at `level`, where they lie on a vectorscope of this matrix."""
    return {
        name: (float(cb), float(cr))
        for name, rgb in BARS.items()
        if name != "white"
        for _, cb, cr in [ycbcr(np.array(rgb) * level, matrix)]
    }


def place_of(value: float, low: float, high: float, count: int) -> int:
    """The bin of a value on an axis of `count` bins from `low` to `high`, held at its ends."""
    return int(_bins(np.array([value]), low, high, count)[0])


def _bins(values: Array, low: float, high: float, count: int) -> NDArray[np.intp]:
    at = (np.where(np.isnan(values), low, values) - low) * (count / (high - low))
    return np.clip(at, 0, count - 1).astype(np.intp)


def _plane(x: Array, y: Array, low: float, high: float) -> Counts:
    known = ~(np.isnan(x) | np.isnan(y))
    cell = _bins(y, low, high, SIDE) * SIDE + _bins(x, low, high, SIDE)
    return np.bincount(cell[known].ravel(), minlength=SIDE * SIDE).reshape(SIDE, SIDE)
