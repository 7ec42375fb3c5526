"""Rows of samples in vectors, as numba intrinsics: the arithmetic of pixel_math.py and the look-ups that it asks for.

Plain vector IR, no processor's own instructions: every target lowers it, with the same roundings. Rows lie in arrays
(rows, width) and are read and written from x to x + LANES - 1. Where to look up goes through memory, in a row that a
loop before has written: taking it out of vectors costs more, and so does reading back what was written just now. For
the same reason a few short loops are faster than one long one, of which a processor sees too little at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, cast

import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba.core import types
from numba.extending import intrinsic

from rushlight.pipelines.grading import pixel_math
from rushlight.pipelines.grading.lanes import Lanes

if TYPE_CHECKING:
    from numba.core.base import BaseContext
    from numba.core.typing import Signature
    from numba.core.typing.context import BaseContext as BaseTypingContext

    from rushlight.pipelines.grading.pixel_math import Array, Places

    Kind = types.Type  # of an argument, as numba has it
    Generator = Callable[[BaseContext, ir.IRBuilder, Signature, Sequence[ir.Value]], ir.Value]
    Intrinsic = tuple[Signature, Generator]  # of an argument: its type; what to compile

__all__ = [
    *("LANES", "blend", "corners", "corners_on_lines", "grade", "grade_points", "hold", "points", "show"),
]

LANES = (
    16  # two registers of AVX2, one of AVX-512; eight are 4 % slower with either, and 6 % faster with SSE2
)
_FLOAT, _BYTE, _I32, _I64 = ir.FloatType(), ir.IntType(8), ir.IntType(32), ir.IntType(64)
_FLOATS = ir.VectorType(_FLOAT, LANES)
_NUMBER, _AT = types.float32, types.uintp


def _fours(lanes: Sequence[int]) -> list[int]:
    """Lanes of a shuffle that does the same to each four."""
    return [lane + start for start in range(0, LANES, 4) for lane in lanes]


class _Call:
    """An intrinsic's arguments by their place: first x, then numbers, tables, and rows at x."""

    def __init__(
        self, context: BaseContext, builder: ir.IRBuilder, signature: Signature, args: Sequence[ir.Value]
    ) -> None:
        self.context, self.builder, self.kinds, self.args = context, builder, signature.args, args

    def start(self, k: int, row: int = 0) -> ir.Value:
        """Of a row of an array."""
        array = self.context.make_array(self.kinds[k])(self.context, self.builder, self.args[k])
        if not row:
            return array.data
        step = self.builder.mul(self.builder.extract_value(array.strides, 0), ir.Constant(_I64, row))
        place = self.builder.gep(self.builder.bitcast(array.data, _BYTE.as_pointer()), [step])
        return self.builder.bitcast(place, array.data.type)

    def _place(self, k: int, row: int, kind: ir.Type) -> ir.Value:
        return self.builder.bitcast(self.builder.gep(self.start(k, row), [self.args[0]]), kind.as_pointer())

    def lanes(self, value: ir.Value) -> Array:
        return cast("Array", Lanes(self.builder, value))

    def row(self, k: int, row: int) -> Array:
        return self.lanes(self.builder.load(self._place(k, row, _FLOATS), align=4))

    def rows(self, k: int) -> tuple[Array, Array, Array]:
        return self.row(k, 0), self.row(k, 1), self.row(k, 2)

    def put(self, k: int, *found: Array | Places, first: int = 0) -> None:
        for row, lanes in enumerate(found, first):
            value = cast("Lanes", lanes).value
            self.builder.store(value, self._place(k, row, value.type), align=4)

    def number(self, k: int) -> Array:
        return self._everywhere(self.args[k])

    def numbers(self, k: int, count: int) -> list[Array]:
        """The first of an array."""
        start = self.start(k)
        places = (self.builder.gep(start, [ir.Constant(_I64, n)]) for n in range(count))
        return [self._everywhere(self.builder.load(place)) for place in places]

    def _everywhere(self, number: ir.Value) -> Array:
        none = ir.Constant(ir.VectorType(number.type, LANES), ir.Undefined)
        one = self.builder.insert_element(none, number, ir.Constant(_I32, 0))
        return self.lanes(self.picked(one, none, [0] * LANES))

    def picked(self, first: ir.Value, second: ir.Value, lanes: Sequence[int]) -> ir.Value:
        mask = ir.Constant(ir.VectorType(_I32, len(lanes)), list(lanes))
        return self.builder.shuffle_vector(first, second, mask)

    def joined(self, parts: Sequence[ir.Value]) -> ir.Value:
        while len(parts) > 1:
            both = range(2 * parts[0].type.count)
            parts = [self.picked(a, b, both) for a, b in zip(parts[0::2], parts[1::2], strict=True)]
        return parts[0]

    def indexes(self, k: int, row: int) -> list[ir.Value]:
        """A row of int32, none negative."""
        place = self._place(k, row, _I32)
        loaded = [
            self.builder.load(self.builder.gep(place, [ir.Constant(_I64, n)]), align=4) for n in range(LANES)
        ]
        return [self.builder.zext(index, _I64) for index in loaded]

    def pairs_of_indexes(self, k: int, row: int, drop: int = 0) -> list[ir.Value]:
        """The same without their last bits, two a load: where there is little to load beside, that is faster."""
        place, found = self._place(k, row, _I64), []
        for n in range(LANES // 2):
            both = self.builder.load(self.builder.gep(place, [ir.Constant(_I64, n)]), align=4)
            low = self.builder.and_(both, ir.Constant(_I64, 0xFFFFFFFF))
            found.append(self.builder.lshr(low, ir.Constant(_I64, drop)))
            found.append(self.builder.lshr(both, ir.Constant(_I64, 32 + drop)))
        return found

    def between(self, table: ir.Value, indexes: Sequence[ir.Value], part: Array) -> Array:
        """Samples from a table of points, each with the step to the next."""
        pairs = self.builder.bitcast(table, ir.VectorType(_FLOAT, 2).as_pointer())
        found = [self.builder.load(self.builder.gep(pairs, [index]), align=4) for index in indexes]
        # First and last two of each four in registers of their own: then one shuffle within fours sorts them.
        even, odd = (self.joined([f for n in range(k, LANES, 4) for f in found[n : n + 2]]) for k in (0, 2))
        point = self.lanes(self.picked(even, odd, _fours((0, 2, LANES, LANES + 2))))
        step = self.lanes(self.picked(even, odd, _fours((1, 3, LANES + 1, LANES + 3))))
        return point + part * step

    def three_between(self, tables: int, places: int, parts: int) -> list[Array]:
        """Three rows, each from its own table."""
        return [
            self.between(self.start(tables, k), self.pairs_of_indexes(places, k), self.row(parts, k))
            for k in range(3)
        ]


def _vectors(do: Callable[[_Call], None]) -> Generator:
    def generate(
        context: BaseContext, builder: ir.IRBuilder, signature: Signature, args: Sequence[ir.Value]
    ) -> ir.Value:
        do(_Call(context, builder, signature, args))
        return context.get_dummy_value()

    return generate


@intrinsic  # type: ignore[untyped-decorator]
def points(
    typing: BaseTypingContext, x: Kind, signal: Kind, low: Kind, scale: Kind, least: Kind, most: Kind, inside: Kind,
    places: Kind, parts: Kind,
) -> Intrinsic:  # fmt: skip
    """Places and parts of three rows in piecewise-linear tables: `pixel_math.points`."""

    def do(call: _Call) -> None:
        for k, value in enumerate(call.rows(1)):
            place, part = pixel_math.points(value, *(call.number(n) for n in range(2, 7)))
            call.put(7, place, first=k)
            call.put(8, part, first=k)

    return types.void(_AT, signal, *(_NUMBER,) * 5, places, parts), _vectors(do)


def _graded(call: _Call) -> list[Array]:
    """ASC CDL v1.2: of tables, places and parts a curve each, then saturation; 1 leaves the curves' bits alone."""
    red, green, blue = call.three_between(1, 2, 3)
    saturation = call.number(4)
    mixed = pixel_math.saturated(red, green, blue, saturation)
    return [np.where(saturation == 1.0, a, b) for a, b in zip((red, green, blue), mixed, strict=True)]


@intrinsic  # type: ignore[untyped-decorator]
def grade(
    typing: BaseTypingContext, x: Kind, tables: Kind, places: Kind, parts: Kind, saturation: Kind, low: Kind, high: Kind,
    signal: Kind,
) -> Intrinsic:  # fmt: skip
    """Three rows of the signal after the grade, held between two numbers."""

    def do(call: _Call) -> None:
        call.put(7, *(pixel_math.within(value, call.number(5), call.number(6)) for value in _graded(call)))

    return types.void(_AT, tables, places, parts, *(_NUMBER,) * 3, signal), _vectors(do)


@intrinsic  # type: ignore[untyped-decorator]
def grade_points(
    typing: BaseTypingContext, x: Kind, tables: Kind, places: Kind, parts: Kind, saturation: Kind, low: Kind, scale: Kind,
    least: Kind, most: Kind, inside: Kind,
) -> Intrinsic:  # fmt: skip
    """Places and parts of the graded signal in further tables, instead of those in the grade's."""

    def do(call: _Call) -> None:
        for k, value in enumerate(_graded(call)):
            place, part = pixel_math.points(value, *(call.number(n) for n in range(5, 10)))
            call.put(2, place, first=k)
            call.put(3, part, first=k)

    return types.void(_AT, tables, places, parts, *(_NUMBER,) * 6), _vectors(do)


def _put_corners(call: _Call, signal: Sequence[Array], k: int) -> None:
    """Of rows to lattice coordinates: from the `k`th argument on the lattice's last coordinate, the last below it, the
    steps; and rows of coordinates, corners and weights."""
    red, green, blue = (np.minimum(np.maximum(value, 0.0), call.number(k)) for value in signal)
    places, weights = pixel_math.corners(
        red,
        green,
        blue,
        call.number(k + 1),
        call.numbers(k + 2, 3),
        cast("list[Places]", call.numbers(k + 3, 3)),
    )
    call.put(k + 4, red, green, blue)
    call.put(k + 5, *places)
    call.put(k + 6, *weights)


@intrinsic  # type: ignore[untyped-decorator]
def corners(
    typing: BaseTypingContext, x: Kind, tables: Kind, places: Kind, parts: Kind, top: Kind, inside: Kind, steps: Kind,
    whole: Kind, signal: Kind, corners: Kind, weights: Kind,
) -> Intrinsic:  # fmt: skip
    """Lattice coordinates by tables; where three points of each tetrahedron begin, and the weights of all four."""

    def do(call: _Call) -> None:
        _put_corners(call, call.three_between(1, 2, 3), 4)

    return types.void(
        _AT, tables, places, parts, _NUMBER, _NUMBER, steps, whole, signal, corners, weights
    ), _vectors(do)


@intrinsic  # type: ignore[untyped-decorator]
def corners_on_lines(
    typing: BaseTypingContext, x: Kind, lines: Kind, top: Kind, inside: Kind, steps: Kind, whole: Kind, signal: Kind,
    corners: Kind, weights: Kind,
) -> Intrinsic:  # fmt: skip
    """The same by three straight lines in the place of tables."""

    def do(call: _Call) -> None:
        lines = call.numbers(1, 6)
        _put_corners(call, [pixel_math.on_lines(value, lines) for value in call.rows(6)], 2)

    return types.void(_AT, lines, _NUMBER, _NUMBER, steps, whole, signal, corners, weights), _vectors(do)


@intrinsic  # type: ignore[untyped-decorator]
def blend(
    typing: BaseTypingContext, x: Kind, lattice: Kind, across: Kind, corners: Kind, weights: Kind, low: Kind, high: Kind,
    found: Kind,
) -> Intrinsic:  # fmt: skip
    """Four rows: weighted sums of four lattice points each, the last one `across` the cell from the first; the first
    three held between two numbers. A lattice point is four float32."""

    def do(call: _Call) -> None:
        builder, table = call.builder, call.start(1)
        tables = [table, table, table, builder.gep(table, [call.args[2]])]
        places = [call.indexes(3, k) for k in (0, 1, 2)]
        places.append(places[0])
        weights = [cast("Lanes", call.row(4, k)).value for k in range(4)]

        def points(which: int, first: int) -> ir.Value:
            four = ir.VectorType(_FLOAT, 4).as_pointer()
            starts = [builder.gep(tables[which], [place]) for place in places[which][first::4]]
            return call.joined([builder.load(builder.bitcast(start, four), align=4) for start in starts])

        sums = []
        for k in range(4):  # every fourth sample from the kth, side by side
            terms = [
                builder.fmul(call.picked(weights[n], weights[n], _fours([k] * 4)), points(n, k))
                for n in range(4)
            ]
            sums.append(builder.fadd(builder.fadd(builder.fadd(terms[0], terms[1]), terms[2]), terms[3]))
        # Four values of each sample to four rows of samples.
        turned = []
        for lane in (0, 2):
            one, two = (
                call.picked(sums[k], sums[k + 1], _fours((lane, LANES + lane, lane + 1, LANES + lane + 1)))
                for k in (0, 2)
            )
            for half in (0, 2):
                turned.append(call.picked(one, two, _fours((half, half + 1, LANES + half, LANES + half + 1))))
        held = [pixel_math.within(call.lanes(value), call.number(5), call.number(6)) for value in turned[:3]]
        call.put(7, *held, call.lanes(turned[3]))

    return types.void(_AT, lattice, types.uintp, corners, weights, _NUMBER, _NUMBER, found), _vectors(do)


@intrinsic  # type: ignore[untyped-decorator]
def hold(typing: BaseTypingContext, x: Kind, light: Kind) -> Intrinsic:
    """Three rows held to what the curve of stretched light knows, in place."""

    def do(call: _Call) -> None:
        low, high = (
            call.lanes(ir.Constant(_FLOATS, [end] * LANES)) for end in (pixel_math.LEAST, pixel_math.MOST)
        )
        call.put(1, *(pixel_math.within(value, low, high) for value in call.rows(1)))

    return types.void(_AT, light), _vectors(do)


@intrinsic  # type: ignore[untyped-decorator]
def show(
    typing: BaseTypingContext, x: Kind, table: Kind, light: Kind, weights: Kind, found: Kind
) -> Intrinsic:
    """Y Cb Cr of three rows of stretched light that is held to what its curve knows."""

    def do(call: _Call) -> None:
        first = call.builder.gep(call.start(1), [ir.Constant(_I64, -2 * pixel_math.FIRST_PIECE)])
        red, green, blue = (
            call.between(
                first, call.pairs_of_indexes(2, k, pixel_math.PIECE_BITS), pixel_math.part_of_piece(value)
            )
            for k, value in enumerate(call.rows(2))
        )
        call.put(4, *pixel_math.weighted(red, green, blue, call.numbers(3, 9)))

    return types.void(_AT, table, light, weights, found), _vectors(do)
