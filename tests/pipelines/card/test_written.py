"""Numbers as words of C: compiled, the same bits as numpy's arrays."""

import ctypes
from collections.abc import Callable

import numpy as np
import pytest

from card_as_c import compiled, needs_compiler
from rushlight.pipelines.card.kernel_text import PROCESSOR
from rushlight.pipelines.card.written import DOUBLE, FLOAT, Writer, Written, WrittenRow
from rushlight.pipelines.colour import aces2_math as am
from rushlight.pipelines.colour.aces2_tables import transform_row
from rushlight.pipelines.colour.gamuts import REC709

ROW = np.array(transform_row(REC709))
RNG = np.random.default_rng(0)
SIGNED = np.concatenate([RNG.uniform(-3, 3, 506), [0.0, -0.0, 1.0, -1.0, 1e-300, -1e-20]])
WIDE = np.concatenate([2.0 ** RNG.uniform(-60, 40, 507), [0.0, 1.0, 2.0**-50, 2.0**-14, 2.0**6]])
EACH = "\nvoid run(const double *row, const double *a, const double *b, double *out)\n{{\n    for (int k = 0; k < {}; k++)\n        f(a[k], b[k], row, out + k);\n}}\n"


@needs_compiler
@pytest.mark.parametrize(
    ("function", "first", "second"),
    [
        (lambda a, b, row: am.power(a, b), WIDE, RNG.uniform(0.2, 3, 512)),
        (lambda a, b, row: am.raised(a, row, am.HULL), WIDE, SIGNED),
        (lambda a, b, row: a / b - np.copysign(np.sqrt(np.abs(a)), b), SIGNED, RNG.uniform(0.1, 3, 512)),
        (
            lambda a, b, row: am.pick((a > b) & (a >= 0.0), np.minimum(a, b), np.maximum(2.0 - a, b)),
            SIGNED,
            WIDE,
        ),
        (lambda a, b, row: am.product(row, 3, a, b, a)[1], SIGNED, WIDE),
        (lambda a, b, row: am.display_light(a, b, a * b, row)[0], np.abs(SIGNED), np.abs(SIGNED[::-1])),
    ],
)
def test_compiled_words_are_the_arrays(
    function: Callable[..., np.ndarray], first: np.ndarray, second: np.ndarray
) -> None:
    writer = Writer()
    a, b = Written(writer, DOUBLE, "a"), Written(writer, DOUBLE, "b")
    found = [function(a, b, WrittenRow(writer, "row"))]
    given = ["double a", "double b", "const double *row"]
    kernel = compiled(PROCESSOR + writer.function("f", given, found) + EACH.format(len(first)))  # type: ignore[arg-type]
    out = np.empty(len(first))
    kernel.run(
        *(
            ctypes.c_void_p(array.ctypes.data)
            for array in (ROW, *map(np.ascontiguousarray, (first, second)), out)
        )
    )
    with np.errstate(all="ignore"):
        wanted = function(first, second, ROW)
    assert out.tobytes() == wanted.tobytes()


def test_numbers_beside_a_float_are_floats() -> None:
    writer = Writer()
    x = Written(writer, FLOAT, "x")
    assert (x * 0.1 + 1).name == "v1"
    assert writer.function("f", ["float x"], []).splitlines()[2:4] == [
        "    const float v0 = x * (0.10000000149011612f);",
        "    const float v1 = v0 + (1.0f);",
    ]


def test_what_was_put_down_before_is_taken_again() -> None:
    writer = Writer()
    x = Written(writer, DOUBLE, "x")
    assert (x + 1.0).name == (x + 1.0).name != (x + 2.0).name
