"""Cells of a lattice of light that err too much, by asking the transform itself within them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.interpolation import tetrahedral
from rushlight.pipelines.grading.direct_evaluation import evaluated
from rushlight.pipelines.grading.shaper import on_curve

__all__ = ["LIMIT", "marked"]

Array = NDArray[np.float64]
LIMIT = 24 / 1023  # of the display's signal, by which a cell may err
# Where in a cell that is asked: in each of its six tetrahedra, at its centre, on three faces, and on three edges.
_PLACES = np.array(
    [
        *((0.78, 0.5, 0.22), (0.5, 0.22, 0.78), (0.22, 0.78, 0.5), (0.5, 0.78, 0.22), (0.78, 0.22, 0.5)),
        *((0.22, 0.5, 0.78), (0.5, 0.5, 0.5), (0.5, 0.5, 0.0), (0.5, 0.0, 0.5), (0.0, 0.5, 0.5)),
        *((0.5, 0.0, 0.0), (0.0, 0.5, 0.0), (0.0, 0.0, 0.5)),
    ]
)


def marked(values: Array, curve: Array, direct: Array) -> Array:
    """(N, N, N): 1 at the points of cells that err by more than LIMIT, 0 at others.

    `values` (N, N, N, 3) are stretched light, `curve` makes the signal of it, `direct` is a `direct_row`. Cells are
    asked where second differences of their points make an error of three quarters of LIMIT likely: at three places
    each, and where one of those errs by a seventh of LIMIT at the other places too.
    """
    bend = np.zeros(values.shape)
    for axis in range(3):
        inner = tuple(slice(1, -1) if k == axis else slice(None) for k in range(3))
        bend[inner] = np.maximum(bend[inner], np.abs(np.diff(values, 2, axis)))
    rough = np.zeros(values.shape)
    bent = bend > LIMIT / 10
    at, by = values[bent], bend[bent] / 4
    rough[bent] = on_curve(curve, at + by) - on_curve(curve, at - by)
    rough = rough.max(-1)
    for axis in range(3):
        rough = np.maximum(*(np.roll(rough, k, axis) for k in (0, -1)))
    cells = np.argwhere(rough[:-1, :-1, :-1] > LIMIT * 3 / 4).astype(np.float64)
    worst, asked = np.zeros(len(cells)), np.arange(len(cells))
    for n, within in enumerate(_PLACES):
        if n == 3:
            asked = np.flatnonzero(worst > LIMIT / 7)
        place = cells[asked] + within
        found, exact = tetrahedral(values, place), evaluated(place, direct)
        off = np.abs(on_curve(curve, found) - on_curve(curve, exact)).max(-1)
        worst[asked] = np.maximum(worst[asked], off)
    share = np.zeros(values.shape[:3])
    for corner in np.ndindex(2, 2, 2):
        share[tuple((cells[worst > LIMIT].astype(np.intp) + corner).T)] = 1.0
    return share
