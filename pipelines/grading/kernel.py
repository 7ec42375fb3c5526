"""The fused kernel: one picture row at a time from source planes through a baked look to display planes.

Compiled without reassociation or contraction of floats, so that every processor gives the same codes; operations are
add, multiply, compare and table look-up, and for the few pixels evaluated directly divide and square root.
`Baked.apply` is its judge. Planes are whole rows, padding included, so that they are contiguous. Rows of floats are a
little longer than the picture, since vectors go past its end.
"""

from __future__ import annotations

from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.grading.direct_evaluation_jit import FEW, marks, take_shares
from rushlight.pipelines.grading.row_ops import (
    INNER,
    JIT,
    from_lattice,
    from_light,
    hold,
    to_corners,
    weighted,
)
from rushlight.pipelines.grading.simd import LANES

__all__ = ["Area", "Planes", "Source", "Target", "chroma_rows", "grade_rows", "matrix_rows"]

Plane = NDArray[np.generic]
Floats = NDArray[np.float32]


class Planes(NamedTuple):
    """A frame's planes, Y Cb Cr or R G B, and how its chroma sits: 0 left, 1 top-left, 2 centre."""

    first: Plane
    second: Plane
    third: Plane
    sub_x: int
    sub_y: int
    siting: int


class Source(NamedTuple):
    """Source format: how codes become the encoded signal."""

    ycbcr: bool
    levels: Floats  # luma scale and offset, chroma scale and offset
    matrix: Floats  # Cr->R, Cb->G, Cr->G, Cb->B


class Target(NamedTuple):
    """Target format: how display Y'CbCr becomes codes."""

    levels: Floats  # luma scale and offset, chroma scale and offset, highest code
    dither: bool
    number: np.uint32  # of the original's frame


class Area(NamedTuple):
    """Area of the picture in the target."""

    left: int
    top: int
    width: int
    height: int


_TAIL = LANES  # samples that rows are longer than the picture


@nb.njit(**{**INNER, "fastmath": False})
def _numbers(line, width, offset, scale, row):
    """Samples as floats; not-a-number as far below 0, infinities as far as the kernel counts."""
    far = np.float32(65536.0)
    for x in range(width):
        value = (np.float32(line[x]) - offset) * scale
        value = value if value == value else -far
        row[x] = min(max(value, -far), far)


@nb.njit(**INNER)
def _chroma(planes, plane, y, width, height, offset, scale, half, row):
    """One luma row's worth of a chroma plane, linear between samples. `half` is a spare row."""
    samples = (width + planes.sub_x - 1) // planes.sub_x
    near = y
    far = y
    far_weight = np.float32(0.0)
    if planes.sub_y == 2:
        last = ((height + 1) >> 1) - 1
        near = y >> 1
        if planes.siting == 1:
            far = min(near + (y & 1), last)
            far_weight = np.float32(0.5) if y & 1 else np.float32(0.0)
        else:
            far = min(near + 1, last) if y & 1 else max(near - 1, 0)
            far_weight = np.float32(0.25)
    near_weight = np.float32(1.0) - far_weight
    upper, lower = plane[near], plane[far]
    given = half if planes.sub_x == 2 else row
    if far_weight == np.float32(0.0):
        for k in range(samples):
            given[k] = (np.float32(upper[k]) - offset) * scale
    else:
        for k in range(samples):
            given[k] = (
                near_weight * np.float32(upper[k]) + far_weight * np.float32(lower[k]) - offset
            ) * scale
    if planes.sub_x == 2:
        half[samples] = half[samples - 1]
        if planes.siting == 2:
            _between_centred(half, samples, row)
        else:
            a = np.float32(0.5)
            for k in range(samples):
                row[2 * k] = half[k]
                row[2 * k + 1] = a * (half[k] + half[k + 1])


@nb.njit(**INNER)
def _between_centred(half, samples, row):
    a, b = np.float32(0.75), np.float32(0.25)
    row[0] = half[0]
    for k in range(samples):
        row[2 * k + 1] = a * half[k] + b * half[k + 1]
    for k in range(1, samples):
        row[2 * k] = a * half[k] + b * half[k - 1]


@nb.njit(**INNER)
def _signal(planes, source, y, width, height, half, red, green, blue):
    """One row of the encoded signal R'G'B'."""
    levels, matrix = source.levels, source.matrix
    scale, offset = levels[0], levels[1]
    if not source.ycbcr:
        _numbers(planes.first[y], width, offset, scale, red)
        _numbers(planes.second[y], width, offset, scale, green)
        _numbers(planes.third[y], width, offset, scale, blue)
        return
    _chroma(planes, planes.second, y, width, height, levels[3], levels[2], half, blue)
    _chroma(planes, planes.third, y, width, height, levels[3], levels[2], half, red)
    r_cr, g_cb, g_cr, b_cb = matrix[0], matrix[1], matrix[2], matrix[3]
    line = planes.first[y]
    for x in range(width):
        luma = (np.float32(line[x]) - offset) * scale
        cb, cr = blue[x], red[x]
        red[x] = luma + r_cr * cr
        green[x] = luma + g_cb * cb + g_cr * cr
        blue[x] = luma + b_cb * cb


@nb.njit(**INNER)
def _counted(red, green, blue, width, span):
    """Pixels of a row with a component above 1, below 0, outside the span."""
    low, high = span[0], span[1]
    zero, one = np.float32(0.0), np.float32(1.0)
    over, under, outside = np.int32(0), np.int32(0), np.int32(0)
    for x in range(width):
        largest = max(red[x], max(green[x], blue[x]))
        least = min(red[x], min(green[x], blue[x]))
        over = np.int32(over + np.int32(largest > one))
        under = np.int32(under + np.int32(least < zero))
        outside = np.int32(outside + np.int32(np.int32(largest > high) | np.int32(least < low)))
    return over, under, outside


@nb.njit(**INNER)
def _mixed(number, row, plane):
    """The dither's seed for one row of one plane."""
    h = np.uint32(np.uint32(number) * np.uint32(0x85EBCA6B) + np.uint32(row) * np.uint32(0xC2B2AE35))
    h = np.uint32(h + np.uint32(np.uint32(plane) * np.uint32(0x27D4EB2F)))
    h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(15))) * np.uint32(0x2C1B3C6D))
    return np.uint32(h ^ np.uint32(h >> np.uint32(12)))


@nb.njit(**INNER)
def _quantise(values, line, left, count, scale, offset, top, dither, seed):
    """A row of values to codes: rounded, or dithered by a hash of the seed and the position."""
    zero = np.float32(0.0)
    codes = line[left : left + count]
    if dither:
        unit = np.float32(5.9604644775390625e-08)  # 2^-24
        first = np.uint32(np.uint32(np.uint32(left) * np.uint32(0x9E3779B1)) + seed)
        for x in range(count):
            h = np.uint32(np.uint32(np.uint32(x) * np.uint32(0x9E3779B1)) + first)
            h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(16))) * np.uint32(0x7FEB352D))
            h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(15))) * np.uint32(0x846CA68B))
            h = np.uint32(h ^ np.uint32(h >> np.uint32(16)))
            noise = np.float32(np.int32(h >> np.uint32(8))) * unit
            value = values[x] * scale + offset + noise
            codes[x] = np.int32(min(max(value, zero), top))
    else:
        half = np.float32(0.5)
        for x in range(count):
            value = values[x] * scale + offset + half
            codes[x] = np.int32(min(max(value, zero), top))


@nb.njit(**INNER)
def _across(values, width, siting, rooms):
    """A full row of chroma at half its width: [1 2 1]/4 on even columns, or the mean of two. `rooms` are the row to
    make and a spare one: even and odd columns part first, which costs less than every second one out of a row."""
    quarter, half, count = np.float32(0.25), np.float32(0.5), (width + 1) >> 1
    row, odd = rooms[0], rooms[1]
    values[width] = values[width - 1]
    if siting == 2:
        for k in range(count):
            row[k] = half * (values[2 * k] + values[2 * k + 1])
        return
    for k in range(count):
        row[k] = half * values[2 * k]
        odd[k] = values[2 * k + 1]
    row[0] = row[0] + quarter * (values[0] + odd[0])
    for k in range(1, count):
        row[k] = row[k] + quarter * (odd[k - 1] + odd[k])


@nb.njit(**INNER)
def _put_one(values, plane, row, planes, which, target, left, width, rooms):
    """A row of chroma at the target's height and full width: filtered across, then codes."""
    levels = target.levels
    seed = _mixed(target.number, row, which)
    if planes.sub_x == 1:
        _quantise(values, plane[row], left, width, levels[2], levels[3], levels[4], target.dither, seed)
        return
    _across(values, width, planes.siting, rooms)
    count = (width + 1) >> 1
    _quantise(rooms[0], plane[row], left >> 1, count, levels[2], levels[3], levels[4], target.dither, seed)


@nb.njit(**INNER)
def _down(rows, above, y, width, siting, row):
    """Two rows of chroma (even, odd) to one: their mean, or for top-left siting [1 2 1]/4 about the even one."""
    even, odd = rows[0], rows[y & 1]
    quarter, half = np.float32(0.25), np.float32(0.5)
    if siting != 1:
        for x in range(width):
            row[x] = half * (even[x] + odd[x])
        return
    upper = above if y > 1 else even
    for x in range(width):
        row[x] = half * even[x] + quarter * (upper[x] + odd[x])
    for x in range(width):  # a slice would compile the words of its error as well, for 2 s
        above[x] = odd[x]


@nb.njit(**INNER)
def _put_luma(values, planes, target, area, y):
    line, levels = area.top + y, target.levels
    seed = _mixed(target.number, line, 0)
    _quantise(
        values,
        planes.first[line],
        area.left,
        area.width,
        levels[0],
        levels[1],
        levels[4],
        target.dither,
        seed,
    )


@nb.njit(**INNER)
def _put_chroma(cb, cr, above, planes, target, area, y, row, rooms):
    """A row of Cb and Cr to the target; where it is subsampled down too, every second call writes one."""
    left, width, height, line = area.left, area.width, area.height, area.top + y
    if planes.sub_y == 1:
        _put_one(cb[0], planes.second, line, planes, 1, target, left, width, rooms)
        _put_one(cr[0], planes.third, line, planes, 2, target, left, width, rooms)
    elif y & 1 or y == height - 1:
        _down(cb, above[0], y, width, planes.siting, row)
        _put_one(row, planes.second, line >> 1, planes, 1, target, left, width, rooms)
        _down(cr, above[1], y, width, planes.siting, row)
        _put_one(row, planes.third, line >> 1, planes, 2, target, left, width, rooms)


@nb.njit(**JIT)
def grade_rows(given, source, tables, taken, target, area):
    """Grade a frame's planes into the picture area of another's. Gives pixels over 1, under 0, outside the span."""
    width, height, size = area.width, area.height, tables.size
    long = width + _TAIL
    signal = np.zeros((3, long), np.float32)
    red, green, blue = signal[0], signal[1], signal[2]
    places = np.zeros((3, long), np.int32)
    parts = np.zeros((3, long), np.float32)
    corners = np.zeros((3, long), np.int32)
    weights = np.zeros((4, long), np.float32)
    made = np.zeros((4, 2, long), np.float32)
    above = np.empty((2, long), np.float32)
    row = np.empty(long, np.float32)
    space = np.zeros((4, 2, long), np.float32)
    light, r, g, b, share = space[:, 0], space[0, 0], space[1, 0], space[2, 0], space[3, 0]
    few, exact = np.zeros((3, FEW), np.float32), np.zeros((3, FEW), np.float64)
    over, under, outside = 0, 0, 0
    marked = False  # the row before: its neighbour will be as well
    for y in range(height):
        _signal(given, source, y, width, height, row, red, green, blue)
        more, less, far = _counted(red, green, blue, width, tables.span)
        over, under, outside = over + more, under + less, outside + far
        slot = y & 1 if taken.sub_y == 2 else 0
        shown = made[:, slot]
        to_corners(signal, width, tables, places, parts, corners, weights)
        if tables.lit:
            from_lattice(width, tables, corners, weights, not marked, light)
            some = marks(share, width)
            if some:
                if not marked:
                    from_lattice(width, tables, corners, weights, False, light)
                take_shares(share, width, size, signal, places[0], few, exact, tables.direct, r, g, b)
            if some or marked:
                hold(light, width)
            marked = some
            from_light(light, width, tables, shown)
        else:
            from_lattice(width, tables, corners, weights, False, shown)
        _put_luma(made[0, slot], taken, target, area, y)
        _put_chroma(made[1], made[2], above, taken, target, area, y, row, parts)
    return over, under, outside


@nb.njit(**JIT)
def matrix_rows(given, source, weights, taken, target, area):
    """R'G'B' codes to Y'CbCr codes and no look; `weights` (3, 3) make Y Cb Cr of R G B."""
    width, height = area.width, area.height
    signal = np.zeros((3, width + _TAIL), np.float32)
    red, green, blue = signal[0], signal[1], signal[2]
    luma, row = np.empty_like(red), np.empty_like(red)
    rooms = np.empty((2, width + _TAIL), np.float32)
    chroma = np.empty((2, 2, width + _TAIL), np.float32)
    above = np.empty((2, width + _TAIL), np.float32)
    for y in range(height):
        _signal(given, source, y, width, height, row, red, green, blue)
        slot = y & 1 if taken.sub_y == 2 else 0
        cb, cr = chroma[0, slot], chroma[1, slot]
        weighted(red, green, blue, weights, width, np.float32(1e9), luma, cb, cr)
        _put_luma(luma, taken, target, area, y)
        _put_chroma(chroma[0], chroma[1], above, taken, target, area, y, row, rooms)


@nb.njit(**JIT)
def chroma_rows(given, source, taken, target, area):
    """Chroma codes at another subsampling and depth, and no look."""
    width, height = area.width, area.height
    levels = source.levels
    row = np.empty(width + _TAIL, np.float32)
    rooms = np.empty((2, width + _TAIL), np.float32)
    chroma = np.empty((2, 2, width + _TAIL), np.float32)
    above = np.empty((2, width + _TAIL), np.float32)
    for y in range(height):
        slot = y & 1 if taken.sub_y == 2 else 0
        _chroma(given, given.second, y, width, height, levels[3], levels[2], row, chroma[0, slot])
        _chroma(given, given.third, y, width, height, levels[3], levels[2], row, chroma[1, slot])
        _put_chroma(chroma[0], chroma[1], above, taken, target, area, y, row, rooms)
