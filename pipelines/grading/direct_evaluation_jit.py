"""Direct evaluation for the kernel: direct_evaluation.py and aces2_math.py compiled, and rows mixed with it."""

from __future__ import annotations

import numba as nb
import numpy as np
from numba.extending import overload, register_jitable

from rushlight.pipelines.colour import aces2_math
from rushlight.pipelines.grading import direct_evaluation
from rushlight.pipelines.grading.row_ops import INNER

__all__ = ["take_shares"]

_FLOATS = {"fastmath": INNER["fastmath"], "error_model": INNER["error_model"]}


@overload(aces2_math.pick, jit_options=_FLOATS)
def _pick(condition, first, second):  # type: ignore[no-untyped-def]
    def one(condition, first, second):  # type: ignore[no-untyped-def]
        return first if condition else second

    return one


for _function in (*aces2_math.FUNCTIONS, *direct_evaluation.FUNCTIONS):
    register_jitable(**_FLOATS)(_function)


@nb.njit(**INNER)
def take_shares(share, width, size, at, weights, row, red, green, blue):  # type: ignore[no-untyped-def]
    """Rows of a lattice's stretched light, in place, with their shares of the transform itself.

    Coordinates are had back from the corners and weights of the tetrahedra, for the few pixels that need them.
    """
    bits, some = share.view(np.int32), np.int32(0)
    for x in range(width):  # in vectors, as a largest float would not be
        some |= bits[x]
    if some == 0:
        return
    step_r, step_g = size * size * 4, size * 4
    for x in range(width):
        part = share[x]
        if part <= np.float32(0.0):
            continue
        start = at[0, x]
        first, last = at[1, x] - start, step_r + step_g + 4 - (at[2, x] - start)
        least = np.float64(weights[3, x])
        middle = least + weights[2, x]
        largest = middle + weights[1, x]
        r = largest if first == step_r else (least if last == step_r else middle)
        g = largest if first == step_g else (least if last == step_g else middle)
        b = largest if first == 4 else (least if last == 4 else middle)
        r, g, b = direct_evaluation.at_place(
            r + start // step_r, g + start // step_g % size, b + start // 4 % size, row
        )
        red[x] += part * (np.float32(r) - red[x])
        green[x] += part * (np.float32(g) - green[x])
        blue[x] += part * (np.float32(b) - blue[x])
