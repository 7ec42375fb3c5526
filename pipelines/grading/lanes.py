"""Numbers side by side: numpy's arithmetic on them becomes vector instructions, for text that serves arrays as well.

A function that is written for arrays (aces2_math.py) is run once with `Lanes` in their place; each operation that it
does is put down as LLVM's vector IR in float64 and int64, with IEEE 754's roundings, so that compiled code gives what the
arrays give, on every target. Choices are by `numpy.where`; look-ups by a `Row`. Whole numbers stay below 2^51 where they
meet floats, floats below 2^31 where they become whole, and what is shifted right is not negative.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numpy.lib.mixins import NDArrayOperatorsMixin

__all__ = ["Lanes", "Row"]

_I32, _I64, _F64 = ir.IntType(32), ir.IntType(64), ir.DoubleType()
_MAGIC = 0x4338000000000000  # 1.5 * 2^52: below it a float's last bits are a whole number


class Lanes(NDArrayOperatorsMixin):
    """Vectors in the making: an IR value of float64, int64 or truth."""

    def __init__(self, builder: Any, value: Any) -> None:
        self.builder, self.value = builder, value

    def __array_ufunc__(self, ufunc: Any, method: str, *inputs: Any, **_: Any) -> Lanes:
        return _OPERATIONS[ufunc](self, *inputs)

    def __array_function__(self, function: Any, types: Any, args: Any, kwargs: Any) -> Lanes:
        if function is not np.where:
            return NotImplemented
        condition, first, second = args
        first, second = self._alike(first, second)
        return self._of(self.builder.select(condition.value, first, second))

    def view(self, kind: Any) -> Lanes:
        """The bits as another kind."""
        return self._of(self.builder.bitcast(self.value, self._many(_I64 if kind is np.int64 else _F64)))

    def astype(self, kind: Any) -> Lanes:
        """Towards zero to whole numbers; or the floats of them."""
        if kind is np.int64:
            whole = self.builder.fptosi(self.value, self._many(_I32))
            return self._of(self.builder.sext(whole, self._many(_I64)))
        return self._of(self._float(self.value))

    @property
    def count(self) -> int:
        return int(self.value.type.count)

    @property
    def is_float(self) -> bool:
        return bool(self.value.type.element == _F64)

    def _of(self, value: Any) -> Lanes:
        return Lanes(self.builder, value)

    def _many(self, kind: Any) -> Any:
        return ir.VectorType(kind, self.count)

    def _spread(self, number: float, kind: Any) -> Any:
        return ir.Constant(self._many(kind), [number] * self.count)

    def _float(self, value: Any) -> Any:
        # Not sitofp, which narrow vectors have for 32 bits only.
        near = self.builder.add(value, self._spread(_MAGIC, _I64))
        near = self.builder.bitcast(near, self._many(_F64))
        return self.builder.fsub(near, self._spread(1.5 * 2.0**52, _F64))

    def _alike(self, *given: Any) -> list[Any]:
        """IR values of one kind: floats if any is."""
        floats = any(g.is_float if isinstance(g, Lanes) else isinstance(g, float) for g in given)
        kind, found = _F64 if floats else _I64, []
        for g in given:
            if not isinstance(g, Lanes):
                found.append(self._spread(float(g) if floats else int(g), kind))
            else:
                found.append(self._float(g.value) if floats and not g.is_float else g.value)
        return found


class Row:
    """A row of float64 that is looked up in."""

    def __init__(self, builder: Any, start: Any, like: Lanes) -> None:
        self.builder, self.start, self.like = builder, start, like

    def __getitem__(self, at: Any) -> Lanes:
        builder, many = self.builder, self.like._many(_F64)
        found = ir.Constant(many, ir.Undefined)
        if not isinstance(at, Lanes):
            one = builder.load(builder.gep(self.start, [ir.Constant(_I64, int(at))]))
            for lane in range(self.like.count):
                found = builder.insert_element(found, one, ir.Constant(_I32, lane))
            return self.like._of(found)
        for lane in range(self.like.count):
            index = builder.extract_element(at.value, ir.Constant(_I32, lane))
            found = builder.insert_element(
                found, builder.load(builder.gep(self.start, [index])), ir.Constant(_I32, lane)
            )
        return self.like._of(found)


def _arithmetic(on_floats: str, on_whole: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, first: Any, second: Any) -> Lanes:
        a, b = like._alike(first, second)
        name = on_floats if a.type.element == _F64 else on_whole
        return like._of(getattr(like.builder, name)(a, b))

    return operation


def _divided(like: Lanes, first: Any, second: Any) -> Lanes:
    a, b = like._alike(first, second)
    return like._of(like.builder.fdiv(a, b))


def _compared(sign: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, first: Any, second: Any) -> Lanes:
        a, b = like._alike(first, second)
        compare = like.builder.fcmp_ordered if a.type.element == _F64 else like.builder.icmp_signed
        return like._of(compare(sign, a, b))

    return operation


def _chosen(sign: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, first: Any, second: Any) -> Lanes:
        a, b = like._alike(first, second)
        return like._of(like.builder.select(_compared(sign)(like, first, second).value, a, b))

    return operation


def _bitwise(name: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, first: Any, second: Any) -> Lanes:
        a = first.value
        b = second.value if isinstance(second, Lanes) else like._spread(second, _I64)
        return like._of(getattr(like.builder, name)(a, b))

    return operation


def _intrinsic(name: str) -> Callable[..., Lanes]:
    def operation(like: Lanes, *given: Any) -> Lanes:
        values = like._alike(*given)
        kind = values[0].type
        whole_name, signature = f"llvm.{name}.v{like.count}f64", ir.FunctionType(kind, [kind] * len(values))
        function = like.builder.module.declare_intrinsic(whole_name, fnty=signature)
        return like._of(like.builder.call(function, values))

    return operation


_OPERATIONS: dict[Any, Callable[..., Lanes]] = {
    np.add: _arithmetic("fadd", "add"),
    np.subtract: _arithmetic("fsub", "sub"),
    np.multiply: _arithmetic("fmul", "mul"),
    np.divide: _divided,
    np.less: _compared("<"),
    np.less_equal: _compared("<="),
    np.greater: _compared(">"),
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
