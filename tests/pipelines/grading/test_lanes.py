"""Numbers side by side: the same bits as numpy's arrays, operation by operation, at the ends of what they take too."""

from collections.abc import Callable
from typing import Any

import numba as nb
import numpy as np
import pytest
from llvmlite import ir  # type: ignore[import-untyped]
from numba.core import types
from numba.extending import intrinsic

from rushlight.pipelines.colour import aces2_math as am
from rushlight.pipelines.colour.aces2_tables import transform_row
from rushlight.pipelines.colour.gamuts import REC709
from rushlight.pipelines.grading.lanes import Lanes, Row

ROW = np.array(transform_row(REC709))
MANY, COUNT = 512, 4
RNG = np.random.default_rng(0)
SIGNED = np.concatenate([RNG.uniform(-3, 3, MANY - 6), [0.0, -0.0, 1.0, -1.0, 1e-300, -1e-20]])
WIDE = np.concatenate([2.0 ** RNG.uniform(-60, 40, MANY - 5), [0.0, 1.0, 2.0**-50, 2.0**-14, 2.0**6]])


def compiled(function: Callable[..., Any], *given: np.ndarray) -> np.ndarray:
    """What a function of arrays and a row makes of lanes."""

    @intrinsic
    def run(typing, rows, x, row):  # type: ignore[no-untyped-def]
        def generate(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            start = context.make_array(signature.args[0])(context, builder, args[0]).data
            kind = ir.VectorType(ir.DoubleType(), COUNT).as_pointer()

            def place(k: int) -> Any:
                at = builder.add(args[1], ir.Constant(ir.IntType(64), k * MANY))
                return builder.bitcast(builder.gep(start, [at]), kind)

            lanes = [Lanes(builder, builder.load(place(k), align=8)) for k in range(len(given))]
            table = Row(
                builder, context.make_array(signature.args[2])(context, builder, args[2]).data, lanes[0]
            )
            builder.store(function(*lanes, table).value, place(len(given)), align=8)
            return context.get_dummy_value()

        return types.void(rows, types.intp, row), generate

    @nb.njit
    def every(rows, row):  # type: ignore[no-untyped-def]
        for x in range(0, MANY, COUNT):
            run(rows, x, row)

    rows = np.zeros((len(given) + 1, MANY))
    rows[:-1] = given
    every(rows, ROW)
    return rows[-1]


@pytest.mark.parametrize(
    ("function", "given"),
    [
        (lambda x, y, row: (x + 2) * y - 3 / (1.5 - x), (SIGNED, WIDE)),
        (lambda x, row: np.copysign(np.sqrt(np.abs(x)), x) + np.floor(x * 7.3), (SIGNED,)),
        (lambda x, row: np.where((x > 0.5) & (x <= 2.0) | (x < -1.0), np.minimum(x, 1), np.maximum(x, -2.0)), (SIGNED,)),
        (lambda x, row: (x * 90.0).astype(np.int64) * 1.5, (SIGNED,)),
        (lambda x, row: np.where(x > 0, 3, -4) * x, (SIGNED,)),
        (lambda x, row: ((x.view(np.int64) >> 52) - 1023) * 0.25 + (x.view(np.int64) & 0xFFFF | 1), (WIDE,)),
        (lambda x, row: row[np.minimum(np.maximum((x * 9).astype(np.int64), 0), 20) + 5] + row[3], (SIGNED,)),
        (lambda x, row: am.power(x, 0.37), (WIDE,)),
        (lambda x, row: am._toned(x, row)[1], (WIDE,)),
    ],
)  # fmt: skip
def test_the_same_bits_as_arrays(function: Callable[..., Any], given: tuple[np.ndarray, ...]) -> None:
    wanted = function(*given, ROW)
    assert np.ptp(wanted) > 0.1
    assert (compiled(function, *given) == wanted).all()


def test_what_it_does_not_know_is_an_error_and_not_a_number() -> None:
    lanes = Lanes(ir.IRBuilder(), ir.Constant(ir.VectorType(ir.DoubleType(), COUNT), ir.Undefined))
    with pytest.raises(KeyError):
        np.sin(lanes)
    with pytest.raises(TypeError):
        np.concatenate([lanes, lanes])
