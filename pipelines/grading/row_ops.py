"""Rows of samples through the tables of a baked look: curves, saturation, lattice coordinates, tetrahedra.

Rows lie in arrays (rows, width), which are LANES longer than the picture, since vectors go past its end.
"""

from __future__ import annotations

from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.grading import simd
from rushlight.pipelines.grading.pixel_math import LEAST, MOST
from rushlight.pipelines.grading.simd import LANES

__all__ = ["INNER", "JIT", "Tables", "from_lattice", "from_light", "hold", "to_corners", "weighted"]

Floats = NDArray[np.float32]


FAR = 3e38  # holds nothing


class Tables(NamedTuple):
    """A baked look as the kernel reads it."""

    graded: bool
    grade: Floats  # (3, 2M): each point of the curves and the step to the next
    grade_at: (
        Floats  # signal at the first point, points a unit of signal, the last point, the last float below it
    )
    saturation: np.float32
    clamp: bool
    straight: bool  # the shaper is three straight lines
    lines: Floats  # slope and offset of the shaper below 0, between 0 and 1, above 1
    shaper: Floats
    shaper_at: Floats
    lattice: Floats  # [r, g, b] flat: Y Cb Cr and nothing; or stretched light and the share of `direct`
    size: int
    steps: Floats  # from a point to the next along each axis, in numbers of the lattice
    whole: NDArray[np.int32]  # the same
    inside: np.float32  # the last coordinate below the last point
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
def to_corners(signal, width, tables, places, parts, corners, weights):
    """Corners (3, width) and weights (4, width) of a signal in the lattice; its coordinates take the signal's place.
    `places` and `parts` (3, width) are room."""
    many = (width + LANES - 1) // LANES
    zero, one = np.float32(0.0), np.float32(1.0)
    at = tables.shaper_at
    low, scale, least, most, inside = at[0], at[1], zero, at[2], at[3]
    if tables.graded:
        curves, at, saturation = tables.grade, tables.grade_at, tables.saturation
        for k in range(many):
            simd.points(np.uintp(k * LANES), signal, at[0], at[1], zero, at[2], at[3], places, parts)
        if tables.straight:
            near, far = (zero, one) if tables.clamp else (np.float32(-FAR), np.float32(FAR))
            for k in range(many):
                x = np.uintp(k * LANES)
                simd.grade(x, curves, places, parts, saturation, near, far, signal)
        else:
            if tables.clamp:  # positions rise with the signal, so that either may be held
                least, most = max((zero - low) * scale, zero), min((one - low) * scale, most)
            for k in range(many):
                x = np.uintp(k * LANES)
                simd.grade_points(x, curves, places, parts, saturation, low, scale, least, most, inside)
    elif not tables.straight:
        for k in range(many):
            simd.points(np.uintp(k * LANES), signal, low, scale, least, most, inside, places, parts)
    lines, shaper, steps, whole = tables.lines, tables.shaper, tables.steps, tables.whole
    top, inside = np.float32(tables.size - 1), tables.inside
    if tables.straight:
        for k in range(many):
            x = np.uintp(k * LANES)
            simd.corners_on_lines(x, lines, top, inside, steps, whole, signal, corners, weights)
    else:
        for k in range(many):
            x = np.uintp(k * LANES)
            simd.corners(x, shaper, places, parts, top, inside, steps, whole, signal, corners, weights)


@nb.njit(**INNER)
def from_lattice(width, tables, corners, weights, held, found):
    """Four rows of lattice values at corners; the first three, of stretched light, as `hold` leaves them if `held`."""
    lattice, whole = tables.lattice, tables.whole
    across = np.uintp(whole[0] + whole[1] + whole[2])
    low, high = np.float32(-FAR), np.float32(FAR)
    if held:
        low, high = np.float32(LEAST), np.float32(MOST)
    for k in range((width + LANES - 1) // LANES):
        simd.blend(np.uintp(k * LANES), lattice, across, corners, weights, low, high, found)


@nb.njit(**INNER)
def hold(light, width):
    """Rows of stretched light held to what its curve knows, in place."""
    for k in range((width + LANES - 1) // LANES):
        simd.hold(np.uintp(k * LANES), light)


@nb.njit(**INNER)
def from_light(light, width, tables, found):
    """Y Cb Cr of three rows that `hold` has left, by the curve to the display's signal: past light 1 above 1, then cut."""
    pairs, weights = tables.light, tables.weights
    for k in range((width + LANES - 1) // LANES):
        simd.show(np.uintp(k * LANES), pairs, light, weights, found)


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
