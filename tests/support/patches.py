"""Saturated patches over a log signal, and what a lattice makes of them.

The cube: SIDE codes a channel at (k + 1/2)/SIDE of 0..1, which meet no lattice's points, in all combinations whose
highest and lowest code are at least SPREAD apart. Errors are of the display's R'G'B', the worst channel of each patch,
in ten-bit codes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from rushlight.pipelines.colour.interpolation import tetrahedral
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.grading.bake import bake
from rushlight.pipelines.grading.lattice import span

SIDE, SPREAD = 97, 0.25


class Errors(NamedTuple):
    worst: float
    rare: float  # all but one in a thousand are less
    p99: float
    mean: float


def cube(side: int = SIDE) -> np.ndarray:
    axis = (np.arange(side) + 0.5) / side
    codes = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1).reshape(-1, 3)
    return codes[np.ptp(codes, axis=1) >= SPREAD]


def errors(found: np.ndarray, exact: np.ndarray) -> Errors:
    off = np.abs(found - exact).max(1) * 1023
    return Errors(off.max(), np.quantile(off, 0.999), np.quantile(off, 0.99), off.mean())


def plain_lattice(look: Look, codes: np.ndarray, size: int = 65) -> np.ndarray:
    """The display's signal by `size` evenly spaced points a side over all that the signal can carry."""
    low, high = span(look)
    axis = np.linspace(low, high, size)
    table = look.evaluate(np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1))
    return tetrahedral(table, (codes - low) / (high - low) * (size - 1))


def compared(look: Look, codes: np.ndarray, size: int = 65) -> tuple[Errors, Errors]:
    """Errors of the plain lattice, and of the baked look of the same size."""
    exact = look.evaluate(codes)
    # Isolated holes of OpenColorIO 2.5.1, black between whites: what is beside them.
    black = exact.max(1) == 0
    exact[black] = look.evaluate(codes[black] + 1e-3)
    return errors(plain_lattice(look, codes, size), exact), errors(bake(look, size=size).apply(codes), exact)
