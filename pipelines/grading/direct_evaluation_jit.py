"""Direct evaluation for the kernel: rows mixed with the transform itself, a few pixels at a time."""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba.core import types
from numba.extending import intrinsic

from rushlight.pipelines.grading.direct_evaluation import CELL, at_place
from rushlight.pipelines.grading.lanes import Lanes, Row
from rushlight.pipelines.grading.row_ops import INNER

__all__ = ["LANES", "take_shares"]

LANES = 8


@intrinsic  # type: ignore[untyped-decorator]
def _at_places(typing: Any, red: Any, green: Any, blue: Any, x: Any, row: Any, points: Any) -> Any:
    """Stretched light in place of lattice coordinates x .. x + LANES - 1, rows of float64."""

    def generate(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        def start(k: int, index: Any) -> Any:
            array = context.make_array(signature.args[k])(context, builder, args[k])
            return builder.gep(array.data, [index])

        kind = ir.VectorType(ir.DoubleType(), LANES)
        rows = [builder.bitcast(start(k, args[3]), kind.as_pointer()) for k in range(3)]
        r, g, b = (Lanes(builder, builder.load(place, align=8)) for place in rows)
        whole = ir.Constant(ir.VectorType(ir.IntType(64), LANES), ir.Undefined)
        for lane in range(LANES):
            whole = builder.insert_element(whole, args[5], ir.Constant(ir.IntType(32), lane))
        table = Row(builder, start(4, ir.Constant(ir.IntType(64), 0)), r)
        for found, place in zip(at_place(r, g, b, table, Lanes(builder, whole)), rows, strict=True):
            builder.store(found.value, place, align=8)
        return context.get_dummy_value()

    return types.void(red, green, blue, types.intp, row, types.intp), generate


@nb.njit(**INNER)
def take_shares(share, width, size, places, spare, which, row, red, green, blue):  # type: ignore[no-untyped-def]
    """Rows of a lattice's stretched light, in place, with their shares of the transform itself.

    `places` (3, width) are the lattice coordinates; `spare` (3, width + LANES) and `which` are room for those few that need it.
    """
    bits, some = share.view(np.int32), np.int32(0)
    for x in range(width):  # in vectors, as a largest float would not be
        some |= bits[x]
    if some == 0:
        return
    count = np.intp(0)
    for x in range(width):
        which[count] = x
        count += np.intp(share[x] > np.float32(0.0))
    last = np.int32(size - 2)
    for k in range(count):
        x = which[k]
        r, g, b = places[0, x], places[1, x], places[2, x]
        ir_ = np.float32(min(np.int32(r), last))
        ig = np.float32(min(np.int32(g), last))
        ib = np.float32(min(np.int32(b), last))
        fr, fg, fb = r - ir_, g - ig, b - ib
        largest, least = max(fr, max(fg, fb)), min(fr, min(fg, fb))
        between = max(min(fr, fg), min(max(fr, fg), fb))
        low = np.float64(least)
        middle = low + (between - least)
        high = middle + (largest - between)
        spare[0, k] = ir_ + (high if fr == largest else (low if fr == least else middle))
        spare[1, k] = ig + (high if fg == largest else (low if fg == least else middle))
        spare[2, k] = ib + (high if fb == largest else (low if fb == least else middle))
    for k in range(count, count + LANES):
        spare[0, k] = spare[1, k] = spare[2, k] = 0.0
    points = (size - 1) * CELL + 1
    for k in range(0, count, LANES):
        _at_places(spare[0], spare[1], spare[2], k, row, points)
    for k in range(count):
        x = which[k]
        part = share[x]
        red[x] += part * (np.float32(spare[0, k]) - red[x])
        green[x] += part * (np.float32(spare[1, k]) - green[x])
        blue[x] += part * (np.float32(spare[2, k]) - blue[x])
