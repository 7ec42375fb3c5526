"""Numbers as words of C: numpy's arithmetic on them is put down statement by statement.

A function that is written for arrays (pixel_math.py, direct_evaluation.py) is run once with `Written` in their place, as
`Lanes` (grading/lanes.py) does for vectors: one statement an operation, in the function's order, so that a compiler that
contracts nothing gives IEEE 754's roundings of each, as the arrays and the vectors have them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import TypeAlias, Union

import numpy as np
from numpy.lib.mixins import NDArrayOperatorsMixin

__all__ = ["Writer", "Written", "WrittenRow"]

Operand: TypeAlias = Union["Written", int, float]
FLOAT, DOUBLE, INT, LONG, TRUTH = "float", "double", "int", "long long", "bool"
_KINDS = {np.float32: FLOAT, np.float64: DOUBLE, np.int32: INT, np.int64: LONG}
_AS_BITS = {FLOAT: "bits_of_float", DOUBLE: "bits_of_double", LONG: "double_of_bits"}


class Writer:
    """A C function in the making."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._known: dict[str, Written] = {}

    def put(self, kind: str, words: str) -> Written:
        """A value of that kind; one that was put down before is taken again."""
        key = f"{kind} {words}"
        if key not in self._known:
            name = f"v{len(self._lines)}"
            self._lines.append(f"    const {kind} {name} = {words};")
            self._known[key] = Written(self, kind, name)
        return self._known[key]

    def function(self, name: str, given: Sequence[str], found: Sequence[Written]) -> str:
        """The function's text: what it is given, and then pointers to what it finds."""
        results = [f"{value.kind} *found{k}" for k, value in enumerate(found)]
        ends = [f"    *found{k} = {value.name};" for k, value in enumerate(found)]
        head = f"DEVICE void {name}({', '.join([*given, *results])})"
        return "\n".join([head, "{", *self._lines, *ends, "}", ""])


class Written(NDArrayOperatorsMixin):
    """A value of a C function: its kind and its name."""

    def __init__(self, writer: Writer, kind: str, name: str) -> None:
        self.writer, self.kind, self.name = writer, kind, name

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Operand, **_: object) -> Written:
        return _OPERATIONS[ufunc](self, *inputs)

    def __array_function__(
        self,
        function: Callable[..., object],
        types: Collection[type],
        args: tuple[Written, Operand, Operand],
        kwargs: Mapping[str, object],
    ) -> Written:
        if function is not np.where:
            return NotImplemented
        condition, first, second = args
        kind, (taken, other) = self._alike(first, second)
        return self.writer.put(kind, f"{condition.name} ? {taken} : {other}")

    def view(self, kind: type[np.generic]) -> Written:
        """The bits as another kind of the same size."""
        return self.writer.put(_KINDS[kind], f"{_AS_BITS[self.kind]}({self.name})")

    def astype(self, kind: type[np.generic]) -> Written:
        """Towards zero to whole numbers, of 32 bits first as `Lanes` do; or the floats of them."""
        wanted = _KINDS[kind]
        by_way = "(int)" if wanted == LONG and self._is_float else ""
        return self.writer.put(wanted, f"({wanted}){by_way}{self.name}")

    @property
    def _is_float(self) -> bool:
        return self.kind in (FLOAT, DOUBLE)

    def _alike(self, *given: Operand) -> tuple[str, list[str]]:
        """Their common kind, as `Lanes` have it: floats if any is, as wide as the values among them; and their words."""
        values = [g for g in given if isinstance(g, Written)]
        floats = any(v._is_float for v in values) or any(isinstance(g, float) for g in given)
        narrow = any(v.kind in (FLOAT, INT) for v in values)
        kind = (FLOAT if narrow else DOUBLE) if floats else (INT if narrow else LONG)
        return kind, [_words(g, kind) for g in given]


class WrittenRow:
    """A row of float64 that is looked up in."""

    def __init__(self, writer: Writer, name: str) -> None:
        self.writer, self.name = writer, name

    def __getitem__(self, at: Written | int) -> Written:
        place = at.name if isinstance(at, Written) else str(int(at))
        return self.writer.put(DOUBLE, f"{self.name}[{place}]")


def _words(given: Operand, kind: str) -> str:
    if isinstance(given, Written):
        return given.name if given.kind in (kind, TRUTH) else f"({kind}){given.name}"
    if kind == FLOAT:
        return f"({float(np.float32(given))!r}f)"
    if kind == DOUBLE:
        return f"({float(given)!r})"
    return f"({int(given)}{'LL' if kind == LONG else ''})"


def _infix(sign: str) -> Callable[..., Written]:
    def operation(like: Written, first: Operand, second: Operand) -> Written:
        kind, (a, b) = like._alike(first, second)
        return like.writer.put(kind, f"{a} {sign} {b}")

    return operation


def _compared(sign: str) -> Callable[..., Written]:
    def operation(like: Written, first: Operand, second: Operand) -> Written:
        _, (a, b) = like._alike(first, second)
        return like.writer.put(TRUTH, f"{a} {sign} {b}")

    return operation


def _chosen(sign: str) -> Callable[..., Written]:
    def operation(like: Written, first: Operand, second: Operand) -> Written:
        kind, (a, b) = like._alike(first, second)
        return like.writer.put(kind, f"{a} {sign} {b} ? {a} : {b}")

    return operation


def _bitwise(sign: str) -> Callable[..., Written]:
    def operation(like: Written, first: Written, second: Written | int) -> Written:
        return like.writer.put(first.kind, f"{first.name} {sign} {_words(second, first.kind)}")

    return operation


def _called(name: str) -> Callable[..., Written]:
    def operation(like: Written, *given: Operand) -> Written:
        kind, words = like._alike(*given)
        assert kind == DOUBLE
        return like.writer.put(kind, f"{name}({', '.join(words)})")

    return operation


_OPERATIONS: dict[np.ufunc, Callable[..., Written]] = {
    np.add: _infix("+"),
    np.subtract: _infix("-"),
    np.multiply: _infix("*"),
    np.divide: _infix("/"),
    np.equal: _compared("=="),
    np.less: _compared("<"),
    np.less_equal: _compared("<="),
    np.greater: _compared(">"),
    np.greater_equal: _compared(">="),
    np.minimum: _chosen("<"),
    np.maximum: _chosen(">"),
    np.bitwise_and: _bitwise("&"),
    np.bitwise_or: _bitwise("|"),
    np.left_shift: _bitwise("<<"),
    np.right_shift: _bitwise(">>"),
    np.sqrt: _called("sqrt"),
    np.absolute: _called("fabs"),
    np.floor: _called("floor"),
    np.copysign: _called("copysign"),
}
