"""The card's kernel compiled for the processor: one text, run where no card is."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from rushlight.pipelines.card.kernel_text import PROCESSOR, setting, tables_of, text
from rushlight.pipelines.grading.kernel import Area, Planes, Source, Target
from rushlight.pipelines.grading.row_ops import Tables

COMPILER = shutil.which("gcc") or shutil.which("cc")
needs_compiler = pytest.mark.skipif(
    COMPILER is None, reason="the card's kernel runs here as C, and there is no C compiler"
)


def library(given: str, taken: str) -> ctypes.CDLL:
    """The kernel for samples of these types."""
    return compiled(text(PROCESSOR, np.dtype(given), np.dtype(taken)))


@cache
def compiled(words_of_c: str) -> ctypes.CDLL:
    """A text of C, as the product's is meant to be compiled."""
    assert COMPILER
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "kernel.c").write_text(words_of_c)
        words = ["-O2", "-ffp-contract=off", "-Wall", "-Werror", "-Wno-unused", "-shared", "-fPIC"]
        made = [COMPILER, "-std=c11", *words, "kernel.c", "-o", "kernel.so", "-lm"]
        subprocess.run(made, cwd=place, check=True)
        return ctypes.CDLL(str(place / "kernel.so"))


def rows_as_c(
    given: Planes, source: Source, tables: Tables, taken: Planes, target: Target, area: Area
) -> tuple[int, int, int]:
    """What `grade_rows` does, by the card's kernel."""
    kernel = library(given.first.dtype.name, taken.first.dtype.name)
    facts = setting(given, source, tables, taken, target, area)
    cb, cr = np.zeros((2, area.height, area.width), np.float32)
    counts = np.zeros(3, np.int32)
    left, top = area.left // taken.sub_x, area.top // taken.sub_y
    luma = taken.first[area.top :, area.left :]
    second, third = taken.second[top:, left:], taken.third[top:, left:]
    number = ctypes.c_uint(int(target.number))
    kernel.grade(
        *map(_at, [facts, *given[:3], *tables_of(tables), luma, cb, cr, counts]), number, 0, area.height
    )
    kernel.chroma(*map(_at, [facts, cb, cr, second, third]), number)
    return int(counts[0]), int(counts[1]), int(counts[2])


def _at(array: NDArray[np.generic]) -> ctypes.c_void_p:
    return ctypes.c_void_p(array.ctypes.data)
