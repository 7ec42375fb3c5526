"""One graphics card by CuPy, which is imported when a card is asked for and not before.

A frame is put into memory that the card reads by itself, copied, graded there, and its picture copied back: one stream
and one copy each way. Tables are copied once a look; the kernel is compiled once for each pair of samples.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.card.kernel_text import CARD, setting, tables_of, text
from rushlight.pipelines.grading.kernel import Area, Planes, Source, Target
from rushlight.pipelines.grading.row_ops import Tables

__all__ = ["Card"]

OPTIONS = ("--fmad=false", "--prec-div=true", "--prec-sqrt=true", "--ftz=false", "--std=c++14")
KEPT = (
    8  # looks whose tables stay on the card, as many as the processor keeps (5 MB each), and kinds of frames
)
BLOCK = (32, 8)
EVERY = 256  # bytes: where arrays begin in memory that several share
TO_CARD, FROM_CARD = 1, 2  # cudaMemcpyKind

Array = NDArray[np.generic]
Launch = Callable[[tuple[int, int], tuple[int, int], tuple[np.generic, ...]], None]


class _Memory(Protocol):
    """Memory that CuPy has: it is let go with the last reference."""

    ptr: int


@dataclass(frozen=True, kw_only=True, eq=False)
class _Shared:
    """Arrays one after another in memory of the host that the card reads by itself, and as much on the card."""

    here: list[Array]
    starts: list[int]
    pinned: _Memory
    there: _Memory
    size: int

    def places(self) -> list[np.uint64]:
        """Of the arrays on the card."""
        return [np.uint64(self.there.ptr + start) for start in self.starts]


class Card:
    """The first card that CuPy sees. Called as `grade_rows` is, and gives what that gives. Whatever CuPy raises comes through."""

    def __init__(self) -> None:
        self._cupy: ModuleType = importlib.import_module("cupy")
        self._stream = self._cupy.cuda.Stream(non_blocking=True)
        self._kernels: dict[tuple[str, str], tuple[Launch, Launch]] = {}
        self._looks: dict[int, tuple[Tables, _Shared]] = {}  # the tables too, so that their id stays theirs
        self._rooms: dict[object, tuple[_Shared, _Shared, _Memory]] = {}

    @property
    def name(self) -> str:
        """As its maker calls it."""
        found: bytes = self._cupy.cuda.runtime.getDeviceProperties(0)["name"]
        return found.decode(errors="replace")

    def __call__(
        self, given: Planes, source: Source, tables: Tables, taken: Planes, target: Target, area: Area
    ) -> tuple[int, int, int]:
        """As `grade_rows`. The area begins where chroma has a sample."""
        tight = _picture(taken, area)
        facts = setting(given, source, tables, tight, target, area)
        with self._stream:
            sent, brought, chroma = self._room([facts, *given[:3]], [*tight[:3], np.zeros(3, np.int32)])
            for place, array in zip(sent.here, (facts, *given[:3]), strict=True):
                place[:] = array
            self._run(sent, brought, chroma, tables, target.number, area, tight)
        for plane, found in zip(_picture(taken, area)[:3], brought.here, strict=False):
            plane[:] = found
        over, under, outside = (int(count) for count in brought.here[3])
        return over, under, outside

    def _run(
        self,
        sent: _Shared,
        brought: _Shared,
        chroma: _Memory,
        tables: Tables,
        number: np.uint32,
        area: Area,
        taken: Planes,
    ) -> None:
        runtime, stream = self._cupy.cuda.runtime, self._stream.ptr
        grade, put_chroma = self._kernel(sent.here[1].dtype, taken.first.dtype)
        look = self._look(tables)
        facts, *planes = sent.places()
        luma, second, third, counts = brought.places()
        cb, cr = np.uint64(chroma.ptr), np.uint64(chroma.ptr + 4 * area.width * area.height)
        runtime.memcpyAsync(sent.there.ptr, sent.pinned.ptr, sent.size, TO_CARD, stream)
        runtime.memsetAsync(int(counts), 0, 12, stream)
        frame = np.uint32(number)
        grade(_blocks(area.width, area.height), BLOCK, (facts, *planes, *look, luma, cb, cr, counts, frame))
        size = taken.second.shape
        put_chroma(_blocks(size[1], size[0]), BLOCK, (facts, cb, cr, second, third, frame))
        runtime.memcpyAsync(brought.pinned.ptr, brought.there.ptr, brought.size, FROM_CARD, stream)
        self._stream.synchronize()

    def _kernel(self, given: np.dtype[np.generic], taken: np.dtype[np.generic]) -> tuple[Launch, Launch]:
        key = given.name, taken.name
        if key not in self._kernels:
            # Not RawModule, which adds --ftz=true: what is nearly nothing would count as nothing.
            made, _ = self._cupy.cuda.compiler.compile_using_nvrtc(text(CARD, given, taken), OPTIONS)
            module = self._cupy.cuda.function.Module()
            module.load(made)
            self._kernels[key] = module.get_function("grade"), module.get_function("chroma")
        return self._kernels[key]

    def _look(self, tables: Tables) -> list[np.uint64]:
        """A look's tables on the card; the oldest goes where there are too many."""
        if id(tables) not in self._looks:
            _trimmed(self._looks)
            shared = self._shared(tables_of(tables))
            for place, table in zip(shared.here, tables_of(tables), strict=True):
                place[:] = table
            self._cupy.cuda.runtime.memcpyAsync(
                shared.there.ptr, shared.pinned.ptr, shared.size, TO_CARD, self._stream.ptr
            )
            self._stream.synchronize()
            self._looks[id(tables)] = tables, shared
        return self._looks[id(tables)][1].places()

    def _room(self, given: Sequence[Array], taken: Sequence[Array]) -> tuple[_Shared, _Shared, _Memory]:
        """Memory that frames of one kind pass through, and between the two kernels room for two planes of float32."""
        key = tuple((array.shape, array.dtype.name) for array in (*given, *taken))
        if key not in self._rooms:
            _trimmed(self._rooms)
            chroma = self._cupy.cuda.alloc(8 * taken[0].size)
            self._rooms[key] = self._shared(given), self._shared(taken), chroma
        return self._rooms[key]

    def _shared(self, arrays: Sequence[Array]) -> _Shared:
        starts, size = [], 0
        for array in arrays:
            starts.append(size)
            size += max(-(-array.nbytes // EVERY), 1) * EVERY
        pinned, there = self._cupy.cuda.alloc_pinned_memory(size), self._cupy.cuda.alloc(size)
        whole = np.frombuffer(pinned, np.uint8, size)
        here = [
            whole[start : start + array.nbytes].view(array.dtype).reshape(array.shape)
            for array, start in zip(arrays, starts, strict=True)
        ]
        return _Shared(here=here, starts=starts, pinned=pinned, there=there, size=size)


def _picture(taken: Planes, area: Area) -> Planes:
    """The output's planes, of the picture alone."""
    across, down = -(-area.width // taken.sub_x), -(-area.height // taken.sub_y)
    left, top = area.left // taken.sub_x, area.top // taken.sub_y
    luma = taken.first[area.top : area.top + area.height, area.left : area.left + area.width]
    second, third = (plane[top : top + down, left : left + across] for plane in (taken.second, taken.third))
    return taken._replace(first=luma, second=second, third=third)


def _blocks(across: int, down: int) -> tuple[int, int]:
    return -(-across // BLOCK[0]), -(-down // BLOCK[1])


def _trimmed(
    kept: dict[int, tuple[Tables, _Shared]] | dict[object, tuple[_Shared, _Shared, _Memory]],
) -> None:
    """Without its oldest, where it is full."""
    if len(kept) >= KEPT:
        del kept[next(iter(kept))]  # type: ignore[arg-type]
