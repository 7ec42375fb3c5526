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
def _curve(row, table, width, low, scale):
    """A row through one piecewise-linear table, in place."""
    last = np.int32(table.shape[0] - 2)
    top = np.float32(table.shape[0] - 1)
    zero = np.float32(0.0)
    for x in range(width):
        position = min(max((row[x] - low) * scale, zero), top)
        base = min(np.int32(position), last)
        start = table[base]
        row[x] = start + (position - np.float32(base)) * (table[base + 1] - start)


@nb.njit(**_JIT)
def _place(row, table, width, low, scale, top):
    """A row to lattice coordinates, in place. Two points mean a straight line."""
    zero = np.float32(0.0)
    if table.shape[0] == 2:
        start = table[0]
        slope = (table[1] - table[0]) * scale
        for x in range(width):
            row[x] = min(max(start + (row[x] - low) * slope, zero), top)
    else:
        _curve(row, table, width, low, scale)
        for x in range(width):
            row[x] = min(max(row[x], zero), top)


@nb.njit(**_JIT)
def _tetrahedra(red, green, blue, lattice, size, width, out_y, out_b, out_r):
    """Lattice values at the rows' coordinates. Lattice is flat, four values a point."""
    step_r = np.int32(size * size * 4)
    step_g = np.int32(size * 4)
    step_b = np.int32(4)
    whole = step_r + step_g + step_b
    last = np.int32(size - 2)
    one = np.float32(1.0)
    for x in range(width):
        r, g, b = red[x], green[x], blue[x]
        ir, ig, ib = min(np.int32(r), last), min(np.int32(g), last), min(np.int32(b), last)
        fr, fg, fb = r - np.float32(ir), g - np.float32(ig), b - np.float32(ib)
        largest = max(fr, max(fg, fb))
        least = min(fr, min(fg, fb))
        middle = max(min(fr, fg), min(max(fr, fg), fb))
        first = (step_r if fr >= fb else step_b) if fr >= fg else (step_g if fg >= fb else step_b)
        final = (step_b if fb <= fr else step_r) if fb <= fg else (step_g if fg <= fr else step_r)
        at0 = ir * step_r + ig * step_g + ib * step_b
        at1 = at0 + first
        at3 = at0 + whole
        at2 = at3 - final
        w0, w1, w2, w3 = one - largest, largest - middle, middle - least, least
        out_y[x] = w0 * lattice[at0] + w1 * lattice[at1] + w2 * lattice[at2] + w3 * lattice[at3]
        out_b[x] = (
            w0 * lattice[at0 + 1] + w1 * lattice[at1 + 1] + w2 * lattice[at2 + 1] + w3 * lattice[at3 + 1]
        )
        out_r[x] = (
            w0 * lattice[at0 + 2] + w1 * lattice[at1 + 2] + w2 * lattice[at2 + 2] + w3 * lattice[at3 + 2]
        )


@nb.njit(**_JIT)
def _quantise(values, plane, row, left, count, scale, offset, top, dither, seed):
    """A row of values to codes: rounded, or dithered by a hash of the seed and the position."""
    zero = np.float32(0.0)
    if dither:
        unit = np.float32(5.9604644775390625e-08)  # 2^-24
        for x in range(count):
            h = np.uint32(np.uint32(x + left) * np.uint32(0x9E3779B1) + seed)
            h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(16))) * np.uint32(0x7FEB352D))
            h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(15))) * np.uint32(0x846CA68B))
            h = np.uint32(h ^ np.uint32(h >> np.uint32(16)))
            noise = np.float32(np.int32(h >> np.uint32(8))) * unit
            value = values[x] * scale + offset + noise
            plane[row, left + x] = np.int32(min(max(value, zero), top))
    else:
        half = np.float32(0.5)
        for x in range(count):
            value = values[x] * scale + offset + half
            plane[row, left + x] = np.int32(min(max(value, zero), top))


@nb.njit(**_JIT)
def _mix(seed, row, plane):
    h = np.uint32(np.uint32(seed) * np.uint32(0x85EBCA6B) + np.uint32(row) * np.uint32(0xC2B2AE35))
    h = np.uint32(h + np.uint32(np.uint32(plane) * np.uint32(0x27D4EB2F)))
    h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(15))) * np.uint32(0x2C1B3C6D))
    return np.uint32(h ^ np.uint32(h >> np.uint32(12)))


@nb.njit(**_JIT)
def grade_rows(
    p0, p1, p2, ycbcr, sub_x, sub_y, top_sited, source, grade, has_grade, saturation, clamp, curve_low, curve_scale,
    shaper, shaper_low, shaper_scale, lattice, size, q0, q1, q2, out_sub_x, out_sub_y, siting, target, left, top, width,
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
            for x in range(width):
                luma = (np.float32(p0[y, x]) - y_offset) * y_scale
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
            _curve(red, grade[0], width, curve_low, curve_scale)
            _curve(green, grade[1], width, curve_low, curve_scale)
            _curve(blue, grade[2], width, curve_low, curve_scale)
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
        _place(red, shaper[0], width, shaper_low, shaper_scale, lattice_top)
        _place(green, shaper[1], width, shaper_low, shaper_scale, lattice_top)
        _place(blue, shaper[2], width, shaper_low, shaper_scale, lattice_top)
        slot = y & 1 if out_sub_y == 2 else 0
        _tetrahedra(red, green, blue, lattice, size, width, out_y, out_b[slot], out_r[slot])
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
