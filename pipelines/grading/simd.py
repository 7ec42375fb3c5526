"""Four samples at a time: table look-ups that LLVM does not vectorise from plain loops, as numba intrinsics.

Plain vector IR, no processor's own instructions: every target lowers it, with the same roundings.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from llvmlite import ir  # type: ignore[import-untyped]
from numba.core import types
from numba.extending import intrinsic

if TYPE_CHECKING:
    from collections.abc import Callable

    from numba.core.base import BaseContext
    from numba.core.typing import Signature
    from numba.core.typing.context import BaseContext as BaseTypingContext

    Kind = types.Type  # of an argument, as numba has it
    Generator = Callable[[BaseContext, ir.IRBuilder, Signature, Sequence[ir.Value]], ir.Value]
    Intrinsic = tuple[Signature, Generator]  # of an argument: its type; what to compile

__all__ = ["between4", "blend4"]

_FLOAT = ir.FloatType()
_FOUR = ir.VectorType(_FLOAT, 4)
_PAIR = ir.VectorType(_FLOAT, 2)
_I32, _I64 = ir.IntType(32), ir.IntType(64)


def _start(
    context: BaseContext, builder: ir.IRBuilder, kind: types.Type, value: ir.Value, index: ir.Value
) -> ir.Value:
    return builder.gep(context.make_array(kind)(context, builder, value).data, [index])


def _load(builder: ir.IRBuilder, pointer: ir.Value, kind: ir.Type) -> ir.Value:
    return builder.load(builder.bitcast(pointer, kind.as_pointer()), align=4)


def _store(builder: ir.IRBuilder, value: ir.Value, pointer: ir.Value) -> None:
    builder.store(value, builder.bitcast(pointer, value.type.as_pointer()), align=4)


def _picked(builder: ir.IRBuilder, first: ir.Value, second: ir.Value, lanes: Sequence[int]) -> ir.Value:
    return builder.shuffle_vector(first, second, ir.Constant(ir.VectorType(_I32, len(lanes)), list(lanes)))


def _spread(builder: ir.IRBuilder, value: ir.Value) -> ir.Value:
    none = ir.Constant(_FOUR, ir.Undefined)
    return _picked(builder, builder.insert_element(none, value, ir.Constant(_I32, 0)), none, (0, 0, 0, 0))


@intrinsic  # type: ignore[untyped-decorator]
def blend4(
    typing: BaseTypingContext,
    lattice: Kind,
    a0: Kind,
    a1: Kind,
    a2: Kind,
    across: Kind,
    w0: Kind,
    w1: Kind,
    w2: Kind,
    w3: Kind,
    x: Kind,
    first: Kind,
    second: Kind,
    third: Kind,
    fourth: Kind,
) -> Intrinsic:
    """Samples x..x+3 of four rows: weighted sums of four lattice points each.

    A lattice point is four float32; it begins at index `a0[x]`, `a1[x]`, `a2[x]` and `a0[x] + across`.
    """

    def generate(
        context: BaseContext, builder: ir.IRBuilder, signature: Signature, args: Sequence[ir.Value]
    ) -> ir.Value:
        at = args[9]
        table = _start(context, builder, signature.args[0], args[0], ir.Constant(_I64, 0))
        row = {
            k: _start(context, builder, signature.args[k], args[k], at)
            for k in (1, 2, 3, 5, 6, 7, 8, 10, 11, 12, 13)
        }
        sums = []
        for lane in range(4):
            place = ir.Constant(_I64, lane)
            corners = [builder.zext(builder.load(builder.gep(row[k], [place])), _I64) for k in (1, 2, 3)]
            corners.append(builder.add(corners[0], args[4]))
            total = None
            for corner, k in zip(corners, (5, 6, 7, 8), strict=True):
                weight = _spread(builder, builder.load(builder.gep(row[k], [place])))
                term = builder.fmul(weight, _load(builder, builder.gep(table, [corner]), _FOUR))
                total = term if total is None else builder.fadd(total, term)
            sums.append(total)
        # Four points of four values to four rows of four samples.
        low, low2 = (_picked(builder, sums[k], sums[k + 1], (0, 4, 1, 5)) for k in (0, 2))
        high, high2 = (_picked(builder, sums[k], sums[k + 1], (2, 6, 3, 7)) for k in (0, 2))
        _store(builder, _picked(builder, low, low2, (0, 1, 4, 5)), row[10])
        _store(builder, _picked(builder, low, low2, (2, 3, 6, 7)), row[11])
        _store(builder, _picked(builder, high, high2, (0, 1, 4, 5)), row[12])
        _store(builder, _picked(builder, high, high2, (2, 3, 6, 7)), row[13])
        return context.get_dummy_value()

    return types.void(
        lattice, a0, a1, a2, types.uintp, w0, w1, w2, w3, types.uintp, first, second, third, fourth
    ), generate


@intrinsic  # type: ignore[untyped-decorator]
def between4(
    typing: BaseTypingContext, pairs: Kind, places: Kind, parts: Kind, x: Kind, row: Kind
) -> Intrinsic:
    """Samples x..x+3 of a row from a piecewise-linear table: pairs[place] + part * pairs[place + 1]."""

    def generate(
        context: BaseContext, builder: ir.IRBuilder, signature: Signature, args: Sequence[ir.Value]
    ) -> ir.Value:
        at = args[3]
        table = _start(context, builder, signature.args[0], args[0], ir.Constant(_I64, 0))
        place = _start(context, builder, signature.args[1], args[1], at)
        found = []
        for lane in range(4):
            index = builder.zext(builder.load(builder.gep(place, [ir.Constant(_I64, lane)])), _I64)
            found.append(_load(builder, builder.gep(table, [index]), _PAIR))
        low, high = (_picked(builder, found[k], found[k + 1], (0, 1, 2, 3)) for k in (0, 2))
        point, step = _picked(builder, low, high, (0, 2, 4, 6)), _picked(builder, low, high, (1, 3, 5, 7))
        part = _load(builder, _start(context, builder, signature.args[2], args[2], at), _FOUR)
        _store(
            builder,
            builder.fadd(point, builder.fmul(part, step)),
            _start(context, builder, signature.args[4], args[4], at),
        )
        return context.get_dummy_value()

    return types.void(pairs, places, parts, types.uintp, row), generate
