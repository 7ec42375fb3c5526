"""Direct evaluation where a lattice of light errs most, mixed with it by the lattice's fourth value.

Beside six hues of the display's corners, and where a component reaches black, ACES 2.0's transform folds within less
than a cell. Points of such cells have the fourth value 1, others 0; a pixel takes that share, interpolated like the
rest, of the transform itself, so that there is no step between the two. As in aces2_math.py, functions take numbers or
arrays.
"""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.aces2_math import (
    LENGTH,
    STRETCH,
    Three,
    by_parts,
    display_light,
    pick,
    product,
    raised,
)
from rushlight.pipelines.grading.shaper import FLOOR, OFFSET

__all__ = ["CELL", "at_place", "direct_row", "evaluated", "row_length"]

Array = NDArray[np.float64]
CELL = 16  # points a cell of the tables of light
# The row of a direct evaluation: the transform's, a matrix to AP1, tables of light along three axes.
_TO_AP1 = LENGTH
_LIGHT = _TO_AP1 + 9
_BLACK = OFFSET ** (1 / 2.4)
_BEND = -OFFSET / 2
_SLOPE = (_BEND + OFFSET) ** (1 / 2.4 - 1) / 2.4
_AT_BEND = (_BEND + OFFSET) ** (1 / 2.4)


def direct_row(transform: Array, to_ap1: Array, light: Array) -> Array:
    """The row: a transform's (aces2_tables.py), the matrix of linear light to AP1, light (3, (N - 1) * CELL + 1) along a
    lattice's axes."""
    return np.concatenate([transform, to_ap1.ravel(), light.ravel()])


def row_length(size: int) -> int:
    """Of the row that belongs to a lattice of `size` points a side."""
    return _LIGHT + 3 * ((size - 1) * CELL + 1)


def _light(row: Array, axis: int, coordinate: Array, points: Array | int) -> Array:
    place = coordinate * CELL
    step = np.minimum(np.maximum(place.astype(np.int64), 0), points - 2)
    at = _LIGHT + axis * points + step
    return row[at] + (place - step) * (row[at + 1] - row[at])


def _stretched(light: Array, row: Array) -> Array:
    """`stretch.stretched`, by the row's powers."""
    value = pick(light > _BEND, raised(light + OFFSET, row, STRETCH), _AT_BEND + _SLOPE * (light - _BEND))
    return value - _BLACK + FLOOR


def at_place(red: Array, green: Array, blue: Array, row: Array, points: Array | int) -> Three:
    """Stretched light at lattice coordinates; `points` of light lie along an axis."""
    r, g, b = _light(row, 0, red, points), _light(row, 1, green, points), _light(row, 2, blue, points)
    r, g, b = product(row, _TO_AP1, r, g, b)
    r, g, b = display_light(r, g, b, row)
    return _stretched(r, row), _stretched(g, row), _stretched(b, row)


def evaluated(places: Array, row: Array) -> Array:
    """Stretched light (N, 3) at lattice coordinates (N, 3); straight on from the outermost points."""
    return by_parts(partial(at_place, points=(len(row) - _LIGHT) // 3), places, row)
