"""Rows of samples through the tables of a baked look: curves, saturation, lattice coordinates, tetrahedra.

In place or into rows given; rows of floats are a little longer than the picture, since look-ups go by four.
"""

from __future__ import annotations

from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.grading.simd import between4, blend4

__all__ = [
    "INNER",
    "JIT",
    "Tables",
    "coordinates",
    "curve",
    "from_light",
    "saturate",
    "tetrahedra",
    "weighted",
]

Floats = NDArray[np.float32]


class Tables(NamedTuple):
    """A baked look as the kernel reads it."""

    graded: bool
    grade: Floats  # (3, 2M): each point of the curves and the step to the next
    grade_at: Floats  # signal at the first point, points a unit of signal
    saturation: np.float32
    clamp: bool
    straight: bool  # the shaper is three straight lines
    lines: Floats  # slope and offset of the shaper below 0, between 0 and 1, above 1
    shaper: Floats
    shaper_at: Floats
    lattice: Floats  # [r, g, b] flat: Y Cb Cr and nothing; or stretched light and the share of `direct`
    size: int
    lit: bool  # the lattice holds light
    direct: NDArray[np.float64]  # a `direct_row`, for where the fourth value is above 0
    light: Floats  # (2K,): each point of the curve from stretched light to the display's signal, and the step to the next
    weights: Floats  # (3, 3): Y Cb Cr of R G B
    span: Floats  # lowest and highest signal that the tables know


JIT = {
    "nogil": True,
    "cache": True,
    "fastmath": {"nnan", "ninf", "nsz"},
    "boundscheck": False,
    "error_model": "numpy",
}
INNER = {**JIT, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}


@nb.njit(**INNER)
def curve(row, pairs, at, width, places, parts):
    """A row through one piecewise-linear table, in place: where each sample lies first, for a whole row in vectors."""
    low, scale = at[0], at[1]
    points = pairs.shape[0] >> 1
    last = np.int32(points - 2)
    top, zero = np.float32(points - 1), np.float32(0.0)
    for x in range(width):
        position = min(max((row[x] - low) * scale, zero), top)
        base = min(np.int32(position), last)
        places[x] = base << 1
        parts[x] = position - np.float32(base)
    for k in range((width + 3) >> 2):
        between4(pairs, places, parts, np.uintp(4 * k), row)


@nb.njit(**INNER)
def saturate(red, green, blue, width, saturation, clamp):
    """ASC CDL v1.2 saturation by BT.709 luma, and its clamp, in place."""
    kr, kg, kb = np.float32(0.2126), np.float32(0.7152), np.float32(0.0722)
    zero, one = np.float32(0.0), np.float32(1.0)
    if saturation != one:
        for x in range(width):
            luma = kr * red[x] + kg * green[x] + kb * blue[x]
            red[x] = luma + saturation * (red[x] - luma)
            green[x] = luma + saturation * (green[x] - luma)
            blue[x] = luma + saturation * (blue[x] - luma)
    if clamp:
        for x in range(width):
            red[x] = min(max(red[x], zero), one)
            green[x] = min(max(green[x], zero), one)
            blue[x] = min(max(blue[x], zero), one)


@nb.njit(**INNER)
def _on_lines(row, width, lines, top):
    """A row to lattice coordinates, in place, by three straight lines: below 0, from 0 to 1, above 1."""
    m0, c0, m1, c1, m2, c2 = lines[0], lines[1], lines[2], lines[3], lines[4], lines[5]
    zero = np.float32(0.0)
    for x in range(width):
        value = row[x]
        row[x] = min(max(min(max(value * m1 + c1, value * m0 + c0), value * m2 + c2), zero), top)


@nb.njit(**INNER)
def coordinates(row, table, tables, width, places, parts):
    """A row of the signal to lattice coordinates, in place."""
    zero, top = np.float32(0.0), np.float32(tables.size - 1)
    if tables.straight:
        _on_lines(row, width, tables.lines, top)
        return
    curve(row, table, tables.shaper_at, width, places, parts)
    for x in range(width):
        row[x] = min(max(row[x], zero), top)


@nb.njit(**INNER)
def tetrahedra(red, green, blue, lattice, size, width, at, weights, luma, cb, cr, share):
    """Lattice values at the rows' coordinates, four of them. Corners and weights first, in vectors: fractions sorted by arithmetic."""
    # Whole numbers as floats, exact below 2^24 (161 points a side): as wide in a vector as what they are made of.
    step_r, step_g, step_b = np.float32(size * size * 4), np.float32(size * 4), np.float32(4)
    whole = step_r + step_g + step_b
    last = np.int32(size - 2)
    one = np.float32(1.0)
    a0, a1, a2 = at[0], at[1], at[2]
    w0, w1, w2, w3 = weights[0], weights[1], weights[2], weights[3]
    for x in range(width):
        r, g, b = red[x], green[x], blue[x]
        ir, ig, ib = (
            np.float32(min(np.int32(r), last)),
            np.float32(min(np.int32(g), last)),
            np.float32(min(np.int32(b), last)),
        )
        fr, fg, fb = r - ir, g - ig, b - ib
        largest = max(fr, max(fg, fb))
        least = min(fr, min(fg, fb))
        middle = max(min(fr, fg), min(max(fr, fg), fb))
        first_r = np.float32(fr >= fg) * np.float32(fr >= fb)
        first_g = (one - first_r) * np.float32(fg >= fb)
        final_b = np.float32(fb <= fg) * np.float32(fb <= fr)
        final_g = (one - final_b) * np.float32(fg <= fr)
        start = ir * step_r + ig * step_g + ib * step_b
        a0[x] = np.int32(start)
        a1[x] = np.int32(start + first_r * step_r + first_g * step_g + (one - first_r - first_g) * step_b)
        a2[x] = np.int32(
            start + whole - final_b * step_b - final_g * step_g - (one - final_b - final_g) * step_r
        )
        w0[x] = one - largest
        w1[x] = largest - middle
        w2[x] = middle - least
        w3[x] = least
    for k in range((width + 3) >> 2):
        blend4(lattice, a0, a1, a2, np.uintp(whole), w0, w1, w2, w3, np.uintp(4 * k), luma, cb, cr, share)


@nb.njit(**INNER)
def from_light(row, pairs, width, places, parts):
    """A row of stretched light to the display's signal, in place; past light 1 above 1. The curve's points lie by
    octaves, so that a float's own exponent and leading bits say between which two a sample is."""
    least, most, unit = np.float32(2.0**-22), np.float32(1.0 - 2.0**-24), np.float32(2.0**-17)
    first, rest, bits = np.int32((127 - 22) << 23), np.int32((1 << 17) - 1), np.int32(17)
    double = np.int32(1)
    for x in range(width):
        above = np.int32(np.float32(min(max(row[x], least), most)).view(np.int32) - first)
        places[x] = np.int32(above >> bits) << double
        parts[x] = np.float32(np.int32(above & rest)) * unit
    for k in range((width + 3) >> 2):
        between4(pairs, places, parts, np.uintp(4 * k), row)


@nb.njit(**INNER)
def weighted(red, green, blue, weights, width, top, luma, cb, cr):
    """Y Cb Cr of R G B, of which none counts as more than `top`."""
    yr, yg, yb = weights[0, 0], weights[0, 1], weights[0, 2]
    br, bg, bb = weights[1, 0], weights[1, 1], weights[1, 2]
    rr, rg, rb = weights[2, 0], weights[2, 1], weights[2, 2]
    for x in range(width):
        r, g, b = min(red[x], top), min(green[x], top), min(blue[x], top)
        luma[x] = yr * r + yg * g + yb * b
        cb[x] = br * r + bg * g + bb * b
        cr[x] = rr * r + rg * g + rb * b
