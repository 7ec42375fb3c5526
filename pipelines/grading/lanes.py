"""Numbers side by side: numpy's arithmetic on them becomes vector instructions, for text that serves arrays as well.

A function that is written for arrays (aces2_math.py) is run once with `Lanes` in their place; each operation that it
does is put down as LLVM's vector IR in float64 and int64, with IEEE 754's roundings, so that compiled code gives what the
arrays give, on every target. Choices are by `numpy.where`; look-ups by a `Row`. Whole numbers stay below 2^51 where they
meet floats, floats below 2^31 where they become whole, and what is shifted right is not negative.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import TypeAlias, Union

import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numpy.lib.mixins import NDArrayOperatorsMixin

__all__ = ["Lanes", "Row"]

Operand: TypeAlias = Union["Lanes", int, float]
_I32, _I64, _F32, _F64 = ir.IntType(32), ir.IntType(64), ir.FloatType(), ir.DoubleType()
_KINDS = {np.int32: _I32, np.int64: _I64, np.float32: _F32, np.float64: _F64}
_MAGIC = 0x4338000000000000  # 1.5 * 2^52: below it a float's last bits are a whole number


class Lanes(NDArrayOperatorsMixin):
    """Vectors in the making: an IR value of float64, int64 or truth."""

    def __init__(self, builder: ir.IRBuilder, value: ir.Value) -> None:
        self.builder, self.value = builder, value
        self.root: Lanes | None = None  # whole numbers that this one lies `offset` above
        self.offset = 0

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Operand, **_: object) -> Lanes:
        return _OPERATIONS[ufunc](self, *inputs)

    def __array_function__(
        self,
        function: Callable[..., object],
        types: Collection[type],
        args: tuple[Lanes, Operand, Operand],
        kwargs: Mapping[str, object],
    ) -> Lanes:
        if function is not np.where:
            return NotImplemented
        condition, first, second = args
        taken, other = self._alike(first, second)
        return self._of(self.builder.select(condition.value, taken, other))

    def view(self, kind: type[np.generic]) -> Lanes:
        """The bits as another kind."""
        return self._of(self.builder.bitcast(self.value, self._many(_KINDS[kind])))

    def astype(self, kind: type[np.generic]) -> Lanes:
        """Towards zero to whole numbers; or the floats of them."""
        if kind is np.float32:
            return self._of(self.builder.sitofp(self.value, self._many(_F32)))
        if kind is np.float64:
            return self._of(self._float(self.value))
        whole = self.builder.fptosi(self.value, self._many(_I32))
        return self._of(whole if kind is np.int32 else self.builder.sext(whole, self._many(_I64)))

    @property
    def count(self) -> int:
        return int(self.value.type.count)

    @property
    def is_float(self) -> bool:
        return self.value.type.element in (_F32, _F64)

    def _of(self, value: ir.Value) -> Lanes:
        return Lanes(self.builder, value)

    def _many(self, kind: ir.Type) -> ir.Type:
        return ir.VectorType(kind, self.count)

    def _spread(self, number: float, kind: ir.Type) -> ir.Value:
        return ir.Constant(self._many(kind), [number] * self.count)

    def all_of(self, number: ir.Value) -> Lanes:
        """A number of the compiled code in every lane."""
        found = ir.Constant(self._many(number.type), ir.Undefined)
        for lane in range(self.count):
            found = self.builder.insert_element(found, number, ir.Constant(_I32, lane))
        return self._of(found)

    def _float(self, value: ir.Value) -> ir.Value:
        # Not sitofp, which narrow vectors have for 32 bits only.
        near = self.builder.add(value, self._spread(_MAGIC, _I64))
        near = self.builder.bitcast(near, self._many(_F64))
        return self.builder.fsub(near, self._spread(1.5 * 2.0**52, _F64))

    def _alike(self, *given: Operand) -> list[ir.Value]:
        """IR values of one kind: floats if any is, as wide as the vectors among them."""
        floats = any(g.is_float if isinstance(g, Lanes) else isinstance(g, float) for g in given)
        narrow = any(isinstance(g, Lanes) and g.value.type.element in (_I32, _F32) for g in given)
        kind, found = ((_F32 if floats else _I32) if narrow else (_F64 if floats else _I64)), []
        for g in given:
            if not isinstance(g, Lanes):
                found.append(self._spread(float(g) if floats else int(g), kind))
            else:
                found.append(self._float(g.value) if floats and not g.is_float else g.value)
        return found


class Row:
    """A row of float64 that is looked up in, two neighbours at a time."""

    def __init__(self, builder: ir.IRBuilder, start: ir.Value, like: Lanes) -> None:
        self.builder, self.start, self.like = builder, start, like
        self._starts: dict[int, tuple[Lanes, list[ir.Value]]] = {}
        self._pairs: dict[tuple[int, int], tuple[Lanes, Lanes]] = {}

    def __getitem__(self, at: Lanes | int) -> Lanes:
        if not isinstance(at, Lanes):
            return self.like.all_of(self.builder.load(self._moved(self.start, int(at))))
        root, offset = at.root or at, at.offset
        for first in (offset, offset - 1):
            if (id(root), first) in self._pairs:
                return self._pairs[id(root), first][offset - first]
        found = self._pairs[id(root), offset] = self._two(root, offset)
        return found[0]

    def _moved(self, pointer: ir.Value, by: ir.Value | int) -> ir.Value:
        return self.builder.gep(pointer, [by if isinstance(by, ir.Value) else ir.Constant(_I64, by)])

    def _two(self, root: Lanes, offset: int) -> tuple[Lanes, Lanes]:
        """The numbers at root + offset, and those that follow them."""
        builder, count = self.builder, self.like.count
        if id(root) not in self._starts:
            lanes = [builder.extract_element(root.value, ir.Constant(_I32, k)) for k in range(count)]
            self._starts[id(root)] = root, [self._moved(self.start, lane) for lane in lanes]
        pair = ir.VectorType(_F64, 2).as_pointer()
        loaded = [
            builder.load(builder.bitcast(self._moved(start, offset), pair), align=8)
            for start in self._starts[id(root)][1]
        ]
        # Even and odd lanes side by side first: then one shuffle within halves of a register sorts them.
        even, odd = self._joined(loaded[0::2]), self._joined(loaded[1::2])
        found = []
        for which in (0, 1):
            lanes = [k for n in range(which, count, 2) for k in (n, n + count)]
            mask = ir.Constant(ir.VectorType(_I32, count), lanes)
            found.append(self.like._of(builder.shuffle_vector(even, odd, mask)))
        return found[0], found[1]

    def _joined(self, parts: list[ir.Value]) -> ir.Value:
        while len(parts) > 1:
            size = 2 * parts[0].type.count
            mask = ir.Constant(ir.VectorType(_I32, size), list(range(size)))
            parts = [
                self.builder.shuffle_vector(a, b, mask) for a, b in zip(parts[0::2], parts[1::2], strict=True)
            ]
        return parts[0]


def _arithmetic(on_floats: str, on_whole: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, first: Operand, second: Operand) -> Lanes:
        a, b = like._alike(first, second)
        name = on_floats if a.type.element in (_F32, _F64) else on_whole
        return like._of(getattr(like.builder, name)(a, b))

    return operation


def _divided(like: Lanes, first: Operand, second: Operand) -> Lanes:
    a, b = like._alike(first, second)
    return like._of(like.builder.fdiv(a, b))


def _compared(sign: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, first: Operand, second: Operand) -> Lanes:
        a, b = like._alike(first, second)
        compare = like.builder.fcmp_ordered if a.type.element in (_F32, _F64) else like.builder.icmp_signed
        return like._of(compare(sign, a, b))

    return operation


def _chosen(sign: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, first: Operand, second: Operand) -> Lanes:
        a, b = like._alike(first, second)
        return like._of(like.builder.select(_compared(sign)(like, first, second).value, a, b))

    return operation


def _bitwise(name: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, first: Lanes, second: Lanes | int) -> Lanes:
        a = first.value
        b = second.value if isinstance(second, Lanes) else like._spread(second, a.type.element)
        return like._of(getattr(like.builder, name)(a, b))

    return operation


def _intrinsic(name: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, *given: Operand) -> Lanes:
        values = like._alike(*given)
        kind = values[0].type
        whole_name, signature = f"llvm.{name}.v{like.count}f64", ir.FunctionType(kind, [kind] * len(values))
        function = like.builder.module.declare_intrinsic(whole_name, fnty=signature)
        return like._of(like.builder.call(function, values))

    return operation


def _added(like: Lanes, first: Operand, second: Operand) -> Lanes:
    found = _arithmetic("fadd", "add")(like, first, second)
    if isinstance(second, int) and isinstance(first, Lanes) and not first.is_float:
        found.root, found.offset = first.root or first, first.offset + second
    return found


_OPERATIONS: dict[np.ufunc, Callable[..., Lanes]] = {
    np.add: _added,
    np.subtract: _arithmetic("fsub", "sub"),
    np.multiply: _arithmetic("fmul", "mul"),
    np.divide: _divided,
    np.equal: _compared("=="),
    np.less: _compared("<"),
    np.less_equal: _compared("<="),
    np.greater: _compared(">"),
    np.greater_equal: _compared(">="),
    np.minimum: _chosen("<"),
    np.maximum: _chosen(">"),
    np.bitwise_and: _bitwise("and_"),
    np.bitwise_or: _bitwise("or_"),
    np.left_shift: _bitwise("shl"),
    np.right_shift: _bitwise("lshr"),
    np.sqrt: _intrinsic("sqrt"),
    np.absolute: _intrinsic("fabs"),
    np.floor: _intrinsic("floor"),
    np.copysign: _intrinsic("copysign"),
}
