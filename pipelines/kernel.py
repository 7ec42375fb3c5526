"""The fused kernel: one picture row at a time from source planes through a baked look to display planes.

Compiled without reassociation or contraction of floats, so that every processor gives the same codes; the only
operations are add, multiply, compare and table look-up. `Baked.apply` is its judge.
"""

from __future__ import annotations

import numba as nb
import numpy as np

__all__ = ["grade_rows"]

_JIT = {
    "nogil": True,
    "cache": True,
    "fastmath": {"nnan", "ninf", "nsz"},
    "boundscheck": False,
    "error_model": "numpy",
}


@nb.njit(**_JIT)
def _chroma_row(plane, row, sub_x, sub_y, top_sited, width, scale, offset, out):
    """One luma row's worth of a chroma plane, linear between samples. Co-sited or left horizontally."""
    height = plane.shape[0]
    last = plane.shape[1] - 1
    if sub_y == 2:
        base = row >> 1
        if top_sited:
            near = base
            far = base if row & 1 == 0 else min(base + 1, height - 1)
            far_weight = np.float32(0.0) if row & 1 == 0 else np.float32(0.5)
        else:
            near = base
            far = max(base - 1, 0) if row & 1 == 0 else min(base + 1, height - 1)
            far_weight = np.float32(0.25)
    else:
        near = row
        far = row
        far_weight = np.float32(0.0)
    near_weight = np.float32(1.0) - far_weight
    half = np.float32(0.5)
    if sub_x == 1:
        for x in range(width):
            value = near_weight * np.float32(plane[near, x]) + far_weight * np.float32(plane[far, x])
            out[x] = (value - offset) * scale
        return
    samples = (width + 1) >> 1
    for k in range(samples):
        here = near_weight * np.float32(plane[near, k]) + far_weight * np.float32(plane[far, k])
        out[2 * k] = (here - offset) * scale
    for k in range(width >> 1):
        right = out[2 * k + 2] if k < last and 2 * k + 2 < width else out[2 * k]
        out[2 * k + 1] = (out[2 * k] + right) * half


@nb.njit(**_JIT)
def _curve(row, pairs, width, low, scale, places, parts):
    """A row through one piecewise-linear table, in place. `pairs` holds each point and the step to the next.

    Places are worked out for the whole row first: that part runs in vectors, the look-up does not.
    """
    points = pairs.shape[0] >> 1
    last = np.int32(points - 2)
    top = np.float32(points - 1)
    zero = np.float32(0.0)
    for x in range(width):
        position = min(max((row[x] - low) * scale, zero), top)
        base = min(np.int32(position), last)
        places[x] = base << 1
        parts[x] = position - np.float32(base)
    one = np.uintp(1)
    for x in range(width):
        at = np.uintp(places[x])  # unsigned: no test for an index counted from the end
        row[x] = pairs[at] + parts[x] * pairs[at + one]


@nb.njit(**_JIT)
def _ends(row, width, ends, top):
    """A row to lattice coordinates, in place, by three straight lines: below 0, from 0 to 1, above 1."""
    m0, c0, m1, c1, m2, c2 = ends[0], ends[1], ends[2], ends[3], ends[4], ends[5]
    zero = np.float32(0.0)
    for x in range(width):
        value = row[x]
        row[x] = min(max(min(max(value * m1 + c1, value * m0 + c0), value * m2 + c2), zero), top)


@nb.njit(**_JIT)
def _tetrahedra(red, green, blue, lattice, size, width, at, weights, mixed):
    """Lattice values at the rows' coordinates, four a point into `mixed`. Corners and weights first, in vectors."""
    step_r = np.int32(size * size * 4)
    step_g = np.int32(size * 4)
    step_b = np.int32(4)
    whole = step_r + step_g + step_b
    last = np.int32(size - 2)
    one = np.float32(1.0)
    unit = np.int32(1)
    a0, a1, a2 = at[0], at[1], at[2]
    x0, x1, x2, x3 = weights[0], weights[1], weights[2], weights[3]
    for x in range(width):
        r, g, b = red[x], green[x], blue[x]
        ir, ig, ib = min(np.int32(r), last), min(np.int32(g), last), min(np.int32(b), last)
        fr, fg, fb = r - np.float32(ir), g - np.float32(ig), b - np.float32(ib)
        largest = max(fr, max(fg, fb))
        least = min(fr, min(fg, fb))
        middle = max(min(fr, fg), min(max(fr, fg), fb))
        first_r = np.int32(fr >= fg) & np.int32(fr >= fb)
        first_g = (unit - first_r) & np.int32(fg >= fb)
        final_b = np.int32(fb <= fg) & np.int32(fb <= fr)
        final_g = (unit - final_b) & np.int32(fg <= fr)
        start = ir * step_r + ig * step_g + ib * step_b
        a0[x] = start
        a1[x] = start + first_r * step_r + first_g * step_g + (unit - first_r - first_g) * step_b
        a2[x] = start + whole - final_b * step_b - final_g * step_g - (unit - final_b - final_g) * step_r
        x0[x] = one - largest
        x1[x] = largest - middle
        x2[x] = middle - least
        x3[x] = least
    across = np.uintp(whole)
    for x in range(width):
        at0, at1, at2 = np.uintp(a0[x]), np.uintp(a1[x]), np.uintp(a2[x])
        at3 = at0 + across
        w0, w1, w2, w3 = x0[x], x1[x], x2[x], x3[x]
        place = np.uintp(4 * x)
        for k in range(4):
            u = np.uintp(k)
            mixed[place + u] = (
                w0 * lattice[at0 + u] + w1 * lattice[at1 + u] + w2 * lattice[at2 + u] + w3 * lattice[at3 + u]
            )


@nb.njit(**_JIT)
def _quantise(values, plane, row, left, count, scale, offset, top, dither, seed):
    """A row of values to codes: rounded, or dithered by a hash of the seed and the position."""
    zero = np.float32(0.0)
    line = plane[row, left : left + count]
    if dither:
        unit = np.float32(5.9604644775390625e-08)  # 2^-24
        for x in range(count):
            h = np.uint32(np.uint32(x + left) * np.uint32(0x9E3779B1) + seed)
            h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(16))) * np.uint32(0x7FEB352D))
            h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(15))) * np.uint32(0x846CA68B))
            h = np.uint32(h ^ np.uint32(h >> np.uint32(16)))
            noise = np.float32(np.int32(h >> np.uint32(8))) * unit
            value = values[x] * scale + offset + noise
            line[x] = np.int32(min(max(value, zero), top))
    else:
        half = np.float32(0.5)
        for x in range(count):
            value = values[x] * scale + offset + half
            line[x] = np.int32(min(max(value, zero), top))


@nb.njit(**_JIT)
def _mix(seed, row, plane):
    h = np.uint32(np.uint32(seed) * np.uint32(0x85EBCA6B) + np.uint32(row) * np.uint32(0xC2B2AE35))
    h = np.uint32(h + np.uint32(np.uint32(plane) * np.uint32(0x27D4EB2F)))
    h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(15))) * np.uint32(0x2C1B3C6D))
    return np.uint32(h ^ np.uint32(h >> np.uint32(12)))


@nb.njit(**_JIT)
def grade_rows(
    p0, p1, p2, ycbcr, sub_x, sub_y, top_sited, source, grade, has_grade, saturation, clamp, curve_low, curve_scale,
    shaper, shaper_low, shaper_scale, ends, straight, lattice, size, q0, q1, q2, out_sub_x, out_sub_y, siting, target, left, top, width,
    height, dither, number, span_low, span_high,
):  # fmt: skip
    """Grade the picture area (`left`, `top`, `width`, `height` of the target). Gives samples over and under 0..1, and outside the span.

    `source` and `target` are float32: luma scale and offset, chroma scale and offset, then for the source Cr->R,
    Cb->G, Cr->G, Cb->B and for the target the luma and chroma code maxima. `siting`: 0 left, 1 top-left, 2 centre.
    """
    red = np.empty(width + 2, np.float32)
    green = np.empty(width + 2, np.float32)
    blue = np.empty(width + 2, np.float32)
    out_y = np.empty(width + 2, np.float32)
    out_b = np.empty((2, width + 2), np.float32)
    out_r = np.empty((2, width + 2), np.float32)
    sum_b = np.empty(width + 2, np.float32)
    sum_r = np.empty(width + 2, np.float32)
    above_b = np.zeros(width + 2, np.float32)
    above_r = np.zeros(width + 2, np.float32)
    places = np.empty(width + 2, np.int32)
    parts = np.empty(width + 2, np.float32)
    at = np.empty((3, width + 2), np.int32)
    weights = np.empty((4, width + 2), np.float32)
    mixed = np.empty(4 * (width + 2), np.float32)
    y_scale, y_offset, c_scale, c_offset = source[0], source[1], source[2], source[3]
    r_cr, g_cb, g_cr, b_cb = source[4], source[5], source[6], source[7]
    ty_scale, ty_offset, tc_scale, tc_offset, t_top = target[0], target[1], target[2], target[3], target[4]
    lattice_top = np.float32(size - 1)
    kr, kg, kb = np.float32(0.2126), np.float32(0.7152), np.float32(0.0722)
    zero, one = np.float32(0.0), np.float32(1.0)
    over = 0
    under = 0
    outside = 0
    for y in range(height):
        if ycbcr:
            _chroma_row(p1, y, sub_x, sub_y, top_sited, width, c_scale, c_offset, blue)
            _chroma_row(p2, y, sub_x, sub_y, top_sited, width, c_scale, c_offset, red)
            line = p0[y]
            for x in range(width):
                luma = (np.float32(line[x]) - y_offset) * y_scale
                cb, cr = blue[x], red[x]
                red[x] = luma + r_cr * cr
                green[x] = luma + g_cb * cb + g_cr * cr
                blue[x] = luma + b_cb * cb
        else:
            for x in range(width):
                red[x] = (np.float32(p0[y, x]) - y_offset) * y_scale
                green[x] = (np.float32(p1[y, x]) - y_offset) * y_scale
                blue[x] = (np.float32(p2[y, x]) - y_offset) * y_scale
        hi = np.int32(0)
        lo = np.int32(0)
        far = np.int32(0)
        for x in range(width):
            largest = max(red[x], max(green[x], blue[x]))
            least = min(red[x], min(green[x], blue[x]))
            hi += np.int32(largest > one)
            lo += np.int32(least < zero)
            far += np.int32(largest > span_high) | np.int32(least < span_low)
        over += hi
        under += lo
        outside += far
        if has_grade:
            _curve(red, grade[0], width, curve_low, curve_scale, places, parts)
            _curve(green, grade[1], width, curve_low, curve_scale, places, parts)
            _curve(blue, grade[2], width, curve_low, curve_scale, places, parts)
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
        if straight:
            _ends(red, width, ends, lattice_top)
            _ends(green, width, ends, lattice_top)
            _ends(blue, width, ends, lattice_top)
        else:
            _curve(red, shaper[0], width, shaper_low, shaper_scale, places, parts)
            _curve(green, shaper[1], width, shaper_low, shaper_scale, places, parts)
            _curve(blue, shaper[2], width, shaper_low, shaper_scale, places, parts)
            for x in range(width):
                red[x] = min(max(red[x], zero), lattice_top)
                green[x] = min(max(green[x], zero), lattice_top)
                blue[x] = min(max(blue[x], zero), lattice_top)
        slot = y & 1 if out_sub_y == 2 else 0
        _tetrahedra(red, green, blue, lattice, size, width, at, weights, mixed)
        line_b, line_r = out_b[slot], out_r[slot]
        for x in range(width):
            out_y[x] = mixed[4 * x]
            line_b[x] = mixed[4 * x + 1]
            line_r[x] = mixed[4 * x + 2]
        _quantise(
            out_y, q0, top + y, left, width, ty_scale, ty_offset, t_top, dither, _mix(number, top + y, 0)
        )
        if out_sub_y == 1:
            _chroma_out(
                out_b[0],
                q1,
                top + y,
                left,
                width,
                out_sub_x,
                siting,
                tc_scale,
                tc_offset,
                t_top,
                dither,
                _mix(number, top + y, 1),
                sum_b,
            )
            _chroma_out(
                out_r[0],
                q2,
                top + y,
                left,
                width,
                out_sub_x,
                siting,
                tc_scale,
                tc_offset,
                t_top,
                dither,
                _mix(number, top + y, 2),
                sum_r,
            )
        elif y & 1 or y == height - 1:
            other = 1 if y & 1 else 0
            if siting == 1:  # top-left: [1 2 1]/4 down the column, centred on the even row
                for x in range(width):
                    up_b = above_b[x] if y > 1 else out_b[0, x]
                    up_r = above_r[x] if y > 1 else out_r[0, x]
                    above_b[x], above_r[x] = out_b[other, x], out_r[other, x]
                    sum_b[x] = np.float32(0.25) * (up_b + out_b[other, x]) + np.float32(0.5) * out_b[0, x]
                    sum_r[x] = np.float32(0.25) * (up_r + out_r[other, x]) + np.float32(0.5) * out_r[0, x]
            else:
                for x in range(width):
                    sum_b[x] = np.float32(0.5) * (out_b[0, x] + out_b[other, x])
                    sum_r[x] = np.float32(0.5) * (out_r[0, x] + out_r[other, x])
            crow = (top + y) >> 1
            _chroma_out(
                sum_b,
                q1,
                crow,
                left,
                width,
                out_sub_x,
                siting,
                tc_scale,
                tc_offset,
                t_top,
                dither,
                _mix(number, crow, 1),
                above_b if siting != 1 else red,
            )
            _chroma_out(
                sum_r,
                q2,
                crow,
                left,
                width,
                out_sub_x,
                siting,
                tc_scale,
                tc_offset,
                t_top,
                dither,
                _mix(number, crow, 2),
                above_r if siting != 1 else red,
            )
    return over, under, outside


@nb.njit(**_JIT)
def _chroma_out(values, plane, row, left, width, sub_x, siting, scale, offset, top, dither, seed, room):
    """One row of chroma at full width to the target's subsampling, then to codes. `room` is a spare row."""
    if sub_x == 1:
        _quantise(values, plane, row, left, width, scale, offset, top, dither, seed)
        return
    count = (width + 1) >> 1
    quarter, half = np.float32(0.25), np.float32(0.5)
    if siting == 2:
        for k in range(count):
            room[k] = half * (values[2 * k] + values[min(2 * k + 1, width - 1)])
    else:
        room[0] = quarter * (values[0] + values[min(1, width - 1)]) + half * values[0]
        for k in range(1, count):
            room[k] = quarter * (values[2 * k - 1] + values[min(2 * k + 1, width - 1)]) + half * values[2 * k]
    _quantise(room, plane, row, left >> 1, count, scale, offset, top, dither, seed)
