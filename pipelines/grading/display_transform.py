"""ACES 2.0's output transform as a bake uses it: the one door to direct evaluation and the arithmetic beneath it.

`can_unclip` says which displays have it; `unclipped` is its light before the last clip, for a lattice's points. What
the lattice cannot follow is evaluated directly: `direct_row` holds the transform for one lattice, `evaluated` is it at
lattice coordinates, and `marked` are the points whose cells ask for it. The kernel alone also knows the compiled form
(direct_evaluation_jit.py), since whoever imports that waits for the compiler.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.aces2_tables import transform_row
from rushlight.pipelines.colour.aces2_unclamped import can_unclip, unclipped
from rushlight.pipelines.colour.displays import Display
from rushlight.pipelines.grading import direct_evaluation
from rushlight.pipelines.grading.direct_evaluation import CELL, at_place, evaluated, row_length
from rushlight.pipelines.grading.error_cells import marked

__all__ = ["CELL", "at_place", "can_unclip", "direct_row", "evaluated", "marked", "row_length", "unclipped"]

Array = NDArray[np.float64]


def direct_row(display: Display, to_ap1: Array, light: Array) -> Array:
    """The transform to a display of `can_unclip` for one lattice, as one row of `row_length` numbers.

    `to_ap1` (3, 3) makes linear AP1 of the working space's linear light; `light` (3, (N - 1) * CELL + 1) is that light
    along the axes of a lattice of N points a side, CELL steps a cell.
    """
    return direct_evaluation.direct_row(transform_row(display.gamut), to_ap1, light)
