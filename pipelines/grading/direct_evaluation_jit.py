"""Direct evaluation for the kernel: rows mixed with the transform itself, a few pixels at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import numba as nb
import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba.core import types
from numba.extending import intrinsic

from rushlight.pipelines.grading.direct_evaluation import CELL, at_place
from rushlight.pipelines.grading.lanes import Lanes, Row
from rushlight.pipelines.grading.row_ops import INNER

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numba.core.base import BaseContext
    from numba.core.typing import Signature
    from numba.core.typing.context import BaseContext as BaseTypingContext

    from rushlight.pipelines.grading.simd import Intrinsic, Kind

__all__ = ["FEW", "marks", "take_shares"]

LANES = 16  # two registers of the widest: each waits for its divisions in turn
FEW = 64


# The same text: `Lanes` and a `Row` stand for the arrays that it is written for.
_on_lanes = cast("Callable[[Lanes, Lanes, Lanes, Row, Lanes], tuple[Lanes, Lanes, Lanes]]", at_place)


@intrinsic  # type: ignore[untyped-decorator]
def _at_places(
    typing: BaseTypingContext, red: Kind, green: Kind, blue: Kind, x: Kind, row: Kind, points: Kind
) -> Intrinsic:
    """Stretched light in place of lattice coordinates x .. x + LANES - 1, rows of float64."""

    def generate(
        context: BaseContext, builder: ir.IRBuilder, signature: Signature, args: Sequence[ir.Value]
    ) -> ir.Value:
        def start(k: int, index: ir.Value) -> ir.Value:
            array = context.make_array(signature.args[k])(context, builder, args[k])
            return builder.gep(array.data, [index])

        kind = ir.VectorType(ir.DoubleType(), LANES)
        rows = [builder.bitcast(start(k, args[3]), kind.as_pointer()) for k in range(3)]
        r, g, b = (Lanes(builder, builder.load(place, align=8)) for place in rows)
        table = Row(builder, start(4, ir.Constant(ir.IntType(64), 0)), r)
        lit = _on_lanes(r, g, b, table, r.all_of(args[5]))
        for found, place in zip(lit, rows, strict=True):
            builder.store(found.value, place, align=8)
        return context.get_dummy_value()

    return types.void(red, green, blue, types.intp, row, types.intp), generate


@nb.njit(**INNER)
def _rebuilt(given, start, found, count, size):  # type: ignore[no-untyped-def]
    """Lattice coordinates (3, count) from `start` on as their tetrahedra's weights have them, float64."""
    last = np.int32(size - 2)
    for k in range(count):
        x = start + np.uintp(k)  # unsigned: it is not asked whether it is counted from the end
        r, g, b = given[0, x], given[1, x], given[2, x]
        r0, g0, b0 = (
            np.float32(min(np.int32(r), last)),
            np.float32(min(np.int32(g), last)),
            np.float32(min(np.int32(b), last)),
        )
        r, g, b = r - r0, g - g0, b - b0
        largest, least = max(r, max(g, b)), min(r, min(g, b))
        between = max(min(r, g), min(max(r, g), b))
        low = np.float64(least)
        middle = low + np.float64(between - least)
        high = middle + np.float64(largest - between)
        found[0, k] = np.float64(r0) + (high if r == largest else (low if r == least else middle))
        found[1, k] = np.float64(g0) + (high if g == largest else (low if g == least else middle))
        found[2, k] = np.float64(b0) + (high if b == largest else (low if b == least else middle))


@nb.njit(**INNER)
def marks(share, width):  # type: ignore[no-untyped-def]
    """Whether any pixel of a row takes a share."""
    bits, some = share.view(np.int32), np.int32(0)
    for x in range(width):  # in vectors, as a largest float would not be
        some |= bits[x]
    return some != 0


@nb.njit(**INNER)
def _take(share, found, start, count, row):  # type: ignore[no-untyped-def]
    """A row's pixels from `start` on, mixed with what was found of them."""
    for k in range(count):
        x = start + np.uintp(k)
        row[x] += share[x] * (np.float32(found[k]) - row[x])


@nb.njit(**INNER)
def take_shares(share, width, size, places, which, few, exact, row, red, green, blue):  # type: ignore[no-untyped-def]
    """Rows of a lattice's stretched light, in place, with their shares of the transform itself.

    `places` (3, width) are the lattice coordinates. Those that need it are put side by side, FEW at a time: `which`
    (width,), `few` (3, FEW) of float32 and `exact` (3, FEW) of float64 are room for them.
    """
    total = 0
    for place in range(width):
        which[total] = place
        total += int(share[place] > np.float32(0.0))
    points = (size - 1) * CELL + 1
    for first in range(0, total, FEW):
        count = min(FEW, total - first)
        start = np.uintp(which[first])
        if count == FEW and which[first + FEW - 1] - which[first] == FEW - 1:  # they lie side by side
            _rebuilt(places, start, exact, FEW, size)
            for k in range(0, FEW, LANES):
                _at_places(exact[0], exact[1], exact[2], k, row, points)
            _take(share, exact[0], start, FEW, red)
            _take(share, exact[1], start, FEW, green)
            _take(share, exact[2], start, FEW, blue)
            continue
        for k in range(count):
            x = np.uintp(which[first + k])
            few[0, k], few[1, k], few[2, k] = places[0, x], places[1, x], places[2, x]
        _rebuilt(
            few, np.uintp(0), exact, FEW, size
        )  # of a fixed length; past `count` of what was there before
        for k in range(0, count, LANES):
            _at_places(exact[0], exact[1], exact[2], k, row, points)
        for k in range(count):
            x = np.uintp(which[first + k])
            part = share[x]
            red[x] += part * (np.float32(exact[0, k]) - red[x])
            green[x] += part * (np.float32(exact[1, k]) - green[x])
            blue[x] += part * (np.float32(exact[2, k]) - blue[x])
