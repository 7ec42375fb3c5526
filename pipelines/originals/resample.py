"""Resampling of float pictures: Catmull-Rom, separable, added up in double precision and in one order on every machine.

Keys, Cubic convolution interpolation for digital image processing, IEEE Trans. ASSP 29 (1981), with a = -1/2. Made smaller,
the filter is as many times wider, so that every sample counts.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["resampled"]

Weights = tuple[NDArray[np.intp], NDArray[np.float64]]


def resampled(plane: NDArray[np.generic], height: int, width: int) -> NDArray[np.float32]:
    """A plane (h, w) at another size (height, width). Samples beyond an edge are the edge's; NaN and infinities spread
    as far as the filter reaches."""
    rows = _weighted(np.ascontiguousarray(plane, np.float64), *_weights(plane.shape[0], height))
    columns = _weighted(np.ascontiguousarray(rows.T), *_weights(plane.shape[1], width))
    return np.ascontiguousarray(columns.T, np.float32)


@lru_cache(maxsize=16)
def _weights(source: int, target: int) -> Weights:
    """For each sample of the target, the first of the source's that counts, and the weights from there on; they sum to 1."""
    scale = max(1.0, source / target)
    centre = (np.arange(target) + 0.5) * source / target - 0.5
    places = np.ceil(centre - 2 * scale).astype(np.intp)[:, None] + np.arange(int(np.ceil(4 * scale)) + 1)
    weights = _catmull_rom((places - centre[:, None]) / scale)
    inside = np.clip(places, 0, source - 1)
    first = inside[:, 0]
    taps = int((inside - first[:, None]).max()) + 1
    first = np.minimum(first, source - taps)
    folded = np.zeros((target, taps))
    np.add.at(folded, (np.arange(target)[:, None], inside - first[:, None]), weights)
    return first, folded / folded.sum(1, keepdims=True)


def _catmull_rom(x: NDArray[np.float64]) -> NDArray[np.float64]:
    x = np.abs(x)
    near, far = (1.5 * x - 2.5) * x * x + 1, ((-0.5 * x + 2.5) * x - 4) * x + 2
    return np.where(x < 1, near, np.where(x < 2, far, 0.0))


@njit(cache=True, nogil=True)
def _weighted(source, first, weights):  # type: ignore[no-untyped-def]
    """Rows (m, w) that are weighted sums of rows (h, w), float64."""
    found = np.zeros((first.size, source.shape[1]))
    for y in range(first.size):
        for tap in range(weights.shape[1]):
            weight = weights[y, tap]
            if weight != 0.0:
                for x in range(source.shape[1]):
                    found[y, x] += weight * source[first[y] + tap, x]
    return found
