"""The card's kernel as one text of C, and what a frame, a look and an output are to it.

kernel.c is completed by what has one text with the processor's kernel: the functions of pixel_math.py and
direct_evaluation.py, written down operation by operation (written.py), and `struct setting`, from its numpy type.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.card.written import DOUBLE, FLOAT, INT, LONG, Writer, Written, WrittenRow
from rushlight.pipelines.grading import pixel_math
from rushlight.pipelines.grading.display_transform import CELL, at_place
from rushlight.pipelines.grading.kernel import Area, Planes, Source, Target
from rushlight.pipelines.grading.row_ops import Tables

if TYPE_CHECKING:
    from rushlight.pipelines.grading.pixel_math import Array, Places

    Function = Callable[..., Iterable[object]]

__all__ = ["CARD", "PROCESSOR", "setting", "tables_of", "text"]

Setting = NDArray[np.void]

# What the kernel is told beside planes and tables: all of four bytes, so that C has it as numpy has.
_SETTING = np.dtype(
    [
        *((name, np.int32) for name in ("width", "height", "left", "top", "ycbcr", "dither")),
        *((name, np.int32) for name in ("given_sub_x", "given_sub_y", "given_siting")),
        *((name, np.int32) for name in ("given_row", "given_chroma_row")),
        *((name, np.int32) for name in ("taken_sub_x", "taken_sub_y", "taken_siting")),
        *((name, np.int32) for name in ("taken_row", "taken_chroma_row")),
        *(
            ("given_levels", np.float32, (4,)),
            ("matrix", np.float32, (4,)),
            ("taken_levels", np.float32, (5,)),
        ),
        *((name, np.int32) for name in ("graded", "clamp", "straight", "lit", "size")),
        *((name, np.int32) for name in ("grade_points", "shaper_points")),
        *(("grade_at", np.float32, (4,)), ("saturation", np.float32), ("lines", np.float32, (6,))),
        *(("shaper_at", np.float32, (4,)), ("steps", np.float32, (3,)), ("whole", np.int32, (3,))),
        *(("inside", np.float32), ("weights", np.float32, (9,)), ("span", np.float32, (2,))),
    ]
)

CARD = """\
#define DEVICE static __device__ __forceinline__
#define KERNEL extern "C" __global__ void
#define EACH(column, line, across, down) \\
    const int column = blockIdx.x * blockDim.x + threadIdx.x, line = blockIdx.y * blockDim.y + threadIdx.y; \\
    if (column < (across) && line < (down))
#define COUNT(place) atomicAdd(&(place), 1)
DEVICE int bits_of_float(float x) { return __float_as_int(x); }
DEVICE long long bits_of_double(double x) { return __double_as_longlong(x); }
DEVICE double double_of_bits(long long x) { return __longlong_as_double(x); }
"""
PROCESSOR = """\
#include <math.h>
#include <stdbool.h>
#include <string.h>
#define DEVICE static inline
#define KERNEL void
#define EACH(column, line, across, down) \\
    for (int line = 0; line < (down); line++) for (int column = 0; column < (across); column++)
#define COUNT(place) (place)++
DEVICE int bits_of_float(float x) { int found; memcpy(&found, &x, sizeof found); return found; }
DEVICE long long bits_of_double(double x) { long long found; memcpy(&found, &x, sizeof found); return found; }
DEVICE double double_of_bits(long long x) { double found; memcpy(&found, &x, sizeof found); return found; }
"""
_SAMPLES = {"uint8": "unsigned char", "uint16": "unsigned short", "float32": "float"}


def text(head: str, given: np.dtype[np.generic], taken: np.dtype[np.generic]) -> str:
    """The kernel for samples of these types; `head` is `CARD` or `PROCESSOR`."""
    samples = f"typedef {_SAMPLES[given.name]} GIVEN;\ntypedef {_SAMPLES[taken.name]} TAKEN;\n"
    kernel = files("rushlight.pipelines.card").joinpath("kernel.c").read_text()
    return "\n".join([head, samples, _numbers(), _struct(), _functions(), kernel])


def _numbers() -> str:
    found = {
        "CELL": str(CELL),
        "PIECE_BITS": str(pixel_math.PIECE_BITS),
        "FIRST_PIECE": str(pixel_math.FIRST_PIECE),
    }
    found |= {name: f"({float(np.float32(getattr(pixel_math, name)))!r}f)" for name in ("LEAST", "MOST")}
    return "".join(f"#define {name} {words}\n" for name, words in found.items())


def _struct() -> str:
    lines = []
    for name in _SETTING.names or ():
        kind = _SETTING[name]
        many = f"[{kind.shape[0]}]" if kind.shape else ""
        lines.append(f"    {'float' if kind.base == np.float32 else 'int'} {name}{many};\n")
    return f"struct setting {{\n{''.join(lines)}}};\n"


@cache
def _functions() -> str:
    """What pixel_math.py and direct_evaluation.py do, as functions of C: numbers in, pointers out."""
    found = [
        _written("points", [FLOAT] * 6, pixel_math.points),
        _written("saturated", [FLOAT] * 4, pixel_math.saturated),
        _written("on_lines", [FLOAT] * 7, _on_lines),
        _written("part_of_piece", [FLOAT], _part_of_piece),
        _written("weighted", [FLOAT] * 12, _weighted),
        _written("corners", [FLOAT] * 7 + [INT] * 3, _corners),
    ]
    return "\n".join([*found, _at_place()])


def _at_place() -> str:
    writer = Writer()
    place = [Written(writer, DOUBLE, name) for name in ("red", "green", "blue")]
    function = cast("Function", at_place)
    found = function(*place, WrittenRow(writer, "row"), Written(writer, LONG, "many"))
    given = ["double red", "double green", "double blue", "const double *row", "long long many"]
    return writer.function("at_place", given, cast("Sequence[Written]", found))


def _corners(
    red: Array, green: Array, blue: Array, inside: Array, s0: Array, s1: Array, s2: Array, *whole: Places
) -> list[object]:
    places, weights = pixel_math.corners(red, green, blue, inside, (s0, s1, s2), whole)
    return [*places, *weights]


def _on_lines(x: Array, *lines: Array) -> list[object]:
    return [pixel_math.on_lines(x, lines)]


def _part_of_piece(light: Array) -> list[object]:
    return [pixel_math.part_of_piece(light)]


def _weighted(red: Array, green: Array, blue: Array, *weights: Array) -> Iterable[object]:
    return pixel_math.weighted(red, green, blue, weights)


def _written(name: str, kinds: Sequence[str], function: Function) -> str:
    writer = Writer()
    given = [Written(writer, kind, f"given{k}") for k, kind in enumerate(kinds)]
    found = [cast("Written", value) for value in function(*given)]
    return writer.function(name, [f"{g.kind} {g.name}" for g in given], found)


def tables_of(tables: Tables) -> list[NDArray[np.generic]]:
    """A look's tables in the order of the kernel's arguments: curves, shaper, lattice, the curve after it, direct evaluation."""
    return [tables.grade, tables.shaper, tables.lattice, tables.light, tables.direct]


def setting(
    given: Planes, source: Source, tables: Tables, taken: Planes, target: Target, area: Area
) -> Setting:
    """What the kernel is told beside planes and tables: (1,). Rows are those of the arrays."""
    found = np.zeros(1, _SETTING)
    facts = {
        **{name: getattr(area, name) for name in ("width", "height", "left", "top")},
        **{f"given_{name}": getattr(given, name) for name in ("sub_x", "sub_y", "siting")},
        **{f"taken_{name}": getattr(taken, name) for name in ("sub_x", "sub_y", "siting")},
        **{
            name: getattr(tables, name) for name in ("graded", "clamp", "straight", "lit", "size", "grade_at")
        },
        **{name: getattr(tables, name) for name in ("saturation", "lines", "shaper_at", "steps", "whole")},
        **{name: getattr(tables, name) for name in ("inside", "span")},
        **{"weights": tables.weights.ravel(), "given_levels": source.levels, "matrix": source.matrix},
        **{"ycbcr": source.ycbcr, "dither": target.dither, "taken_levels": target.levels},
        **{"given_row": given.first.shape[1], "given_chroma_row": given.second.shape[1]},
        **{"taken_row": taken.first.shape[1], "taken_chroma_row": taken.second.shape[1]},
        **{"grade_points": tables.grade.shape[1] // 2, "shaper_points": tables.shaper.shape[1] // 2},
    }
    assert facts.keys() == set(_SETTING.names or ())
    for name, value in facts.items():
        found[name] = value
    return found
