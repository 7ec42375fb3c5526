"""Pixels through the tables of a baked look: curves, saturation, lattice coordinates, tetrahedra, light.

float32 and int32. As in aces2_math.py, functions take arrays or `Lanes` (lanes.py), of which the kernel's vectors are
compiled from this same text. What looks up only says where: places in a table, and parts of the step to the next.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = [
    *("FIRST_PIECE", "LEAST", "MOST", "PIECE_BITS", "Array", "Places", "Three"),
    *("corners", "on_lines", "part_of_piece", "points", "saturated", "weighted", "within"),
]

Array = NDArray[np.float32]  # or `Lanes`, which stand for one
Places = NDArray[np.int32]
Three = tuple[Array, Array, Array]

LEAST, MOST = 2.0**-22, 1.0 - 2.0**-24  # of stretched light on its curve (shaper.py)
PIECE_BITS = 17  # of a float, that say where within a piece
FIRST_PIECE = (127 - 22) << (23 - PIECE_BITS)  # leading bits of LEAST


def within(x: Array, low: Array, high: Array) -> Array:
    """No less than `low`, no more than `high`."""
    return np.minimum(np.maximum(x, low), high)


def points(
    x: Array, low: Array, scale: Array, least: Array, most: Array, inside: Array
) -> tuple[Places, Array]:
    """Places and parts in a piecewise-linear table: `low` is its first point, `scale` the points a unit of x. Positions
    are held between `least` and `most`; `inside` is the last below the table's last point."""
    position = within((x - low) * scale, least, most)
    base = np.minimum(position, inside).astype(np.int32)
    return base, position - base.astype(np.float32)


def part_of_piece(light: Array) -> Array:
    """The part in the curve of stretched light, which is held between LEAST and MOST. Its points lie by octaves, so that
    a float's own exponent and leading bits are its place; the first one's are FIRST_PIECE."""
    return (light.view(np.int32) & ((1 << PIECE_BITS) - 1)).astype(np.float32) * 2.0**-PIECE_BITS


def saturated(red: Array, green: Array, blue: Array, saturation: Array) -> Three:
    """ASC CDL v1.2 saturation by BT.709 luma."""
    luma = red * 0.2126 + green * 0.7152 + blue * 0.0722
    found = [luma + saturation * (value - luma) for value in (red, green, blue)]
    return found[0], found[1], found[2]


def on_lines(x: Array, lines: Sequence[Array]) -> Array:
    """Lattice coordinates by three straight lines: below 0, from 0 to 1, above 1; slope and offset of each."""
    m0, c0, m1, c1, m2, c2 = lines
    return np.minimum(np.maximum(x * m1 + c1, x * m0 + c0), x * m2 + c2)


def corners(
    red: Array, green: Array, blue: Array, inside: Array, steps: Sequence[Array], whole: Sequence[Places]
) -> tuple[tuple[Places, Places, Places], tuple[Array, Array, Array, Array]]:
    """The tetrahedron about lattice coordinates: where three of its points begin, the fourth lying across the cell from
    the first; and the weights of all four.

    `steps` and `whole` are how far it is to the next point along each axis, as floats and whole; products of floats
    are quicker and exact below 2^24, 161 points a side. `inside` is the last coordinate below the last point.
    """
    base = [np.minimum(x, inside).astype(np.int32).astype(np.float32) for x in (red, green, blue)]
    r, g, b = red - base[0], green - base[1], blue - base[2]
    start = (base[0] * steps[0] + base[1] * steps[1] + base[2] * steps[2]).astype(np.int32)
    above, below = np.maximum(r, g), np.minimum(r, g)
    largest, middle, least = (
        np.maximum(above, b),
        np.maximum(below, np.minimum(above, b)),
        np.minimum(below, b),
    )
    r_g, r_b, g_b = r >= g, r >= b, g >= b
    first = np.where(r_g & r_b, whole[0], np.where(g_b, whole[1], whole[2]))
    final = np.where(r_b & g_b, whole[2], np.where(r_g, whole[1], whole[0]))
    across = start + (whole[0] + whole[1] + whole[2])
    return (start, start + first, across - final), (1.0 - largest, largest - middle, middle - least, least)


def weighted(red: Array, green: Array, blue: Array, weights: Sequence[Array]) -> Three:
    """Y Cb Cr of R G B, of which none counts as more than 1."""
    r, g, b = np.minimum(red, 1.0), np.minimum(green, 1.0), np.minimum(blue, 1.0)
    found = [weights[k] * r + weights[k + 1] * g + weights[k + 2] * b for k in (0, 3, 6)]
    return found[0], found[1], found[2]
