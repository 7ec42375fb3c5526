"""Mean luma of a picture in sixteen cells: what is kept of every frame.

Compiled, so whatever imports this loads numba: plan, runner and pages do without.
"""

from __future__ import annotations

import numba as nb
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.formats.pixel_formats import whole_rows
from rushlight.pipelines.measure.colour_tiles import Box

__all__ = ["luma_grid"]


@nb.njit(nogil=True, cache=True)
def _grid_sums(plane, rows, columns):  # type: ignore[no-untyped-def]
    sums = np.zeros((4, 4), np.int64)
    for i in range(4):
        for j in range(4):
            for row in range(rows[i], rows[i + 1]):
                part = plane[row, columns[j] : columns[j + 1]]
                total = np.uint32(0)  # a row of 65,537 samples of 16 bits
                for k in range(part.size):
                    total += np.uint32(part[k])
                sums[i, j] += np.int64(total)
    return sums


def luma_grid(luma: NDArray[np.generic], picture: Box) -> list[float]:
    """Sixteen mean luma codes of a 4x4 grid over the picture area, row by row. ValueError where it lies outside."""
    x, y, w, h = picture
    height, width = luma.shape
    if not (0 <= x < x + w <= width and 0 <= y < y + h <= height):  # compiled code does not look
        raise ValueError(f"a picture of {w}x{h}+{x}+{y} does not lie inside {width}x{height}")
    rows = np.array([y - (-k * h // 4) for k in range(5)])
    columns = np.array([x + k * w // 4 for k in range(5)])
    means = _grid_sums(*whole_rows([luma]), rows, columns) / np.outer(np.diff(rows), np.diff(columns))
    return [round(float(m), 4) for m in means.flat]
