"""Values between the points of a lattice: by tetrahedra, or linear along each axis."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Interpolation", "tetrahedral", "trilinear"]

Interpolation = Literal["tetrahedral", "trilinear"]


def _cell(
    table: NDArray[np.float64], position: NDArray[np.float64]
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    base = np.minimum(position.astype(np.intp), np.array(table.shape[:3]) - 2)
    return base, position - base


def tetrahedral(table: NDArray[np.float64], position: NDArray[np.float64]) -> NDArray[np.float64]:
    """`table` (N, N, N, C) at `position` (n, 3) in lattice steps, by the tetrahedron the point lies in.

    The walk goes from the cell's lower corner along the axes in order of falling fraction.
    """
    base, fraction = _cell(table, position)
    order = np.argsort(-fraction, axis=1, kind="stable")
    sorted_fraction = np.take_along_axis(fraction, order, 1)
    corner = base.copy()
    result = table[tuple(corner.T)] * (1 - sorted_fraction[:, :1])
    rows = np.arange(len(base))
    for k in range(3):
        corner[rows, order[:, k]] += 1
        following = sorted_fraction[:, k + 1 : k + 2] if k < 2 else 0.0
        result += table[tuple(corner.T)] * (sorted_fraction[:, k : k + 1] - following)
    return result


def trilinear(table: NDArray[np.float64], position: NDArray[np.float64]) -> NDArray[np.float64]:
    """`table` (N, N, N, C) at `position` (n, 3) in lattice steps, linear along each axis."""
    base, fraction = _cell(table, position)
    result = np.zeros((len(base), table.shape[3]))
    for corner in np.ndindex(2, 2, 2):
        weight = np.prod(np.where(corner, fraction, 1 - fraction), axis=1)
        result += weight[:, None] * table[tuple((base + corner).T)]
    return result
