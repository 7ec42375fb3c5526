"""One graphics card by CuPy, which is imported when a card is asked for and not before.

A worker has one stream, tables of a few looks, and room for one frame of the largest kind that it met. A frame is copied there and graded
band by band, its picture copied back, and then nothing is under way. The kernel is compiled once a machine for each pair of samples.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator, Sequence
from itertools import accumulate
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.card import transfer
from rushlight.pipelines.card.kernel_text import CARD, setting, tables_of, text
from rushlight.pipelines.card.machine_code import kept
from rushlight.pipelines.card.transfer import Memory, Transfer
from rushlight.pipelines.grading.kernel import Area, Planes, Source, Target
from rushlight.pipelines.grading.row_ops import Tables

__all__ = ["LOOKS", "Card", "most_bytes"]

OPTIONS = ("--fmad=false", "--prec-div=true", "--prec-sqrt=true", "--ftz=false", "--std=c++14")
LOOKS = 8  # whose tables stay on the card, as many as the processor keeps
LOOK = 5_000_000  # bytes of a look of 65 points a side
CONTEXT = 600_000_000  # bytes of the card that CUDA takes for itself in each process
BLOCK = (32, 8)
EVERY = 256  # bytes: where arrays begin in memory that several share

Array = NDArray[np.generic]
Launch = Callable[[tuple[int, int], tuple[int, int], tuple[np.generic, ...]], None]


class Card:
    """The first card that CuPy sees. Called as `grade_rows` is, and gives what that gives. Whatever CuPy raises comes through:
    then the card is not to be called again, nor let go (`Graphics` sees to both)."""

    def __init__(self) -> None:
        self._cupy: ModuleType = importlib.import_module("cupy")
        # The tables as well, so that their id stays theirs.
        self._looks: dict[int, tuple[Tables, Memory, list[int]]] = {}
        self._kernels: dict[tuple[str, str], tuple[Launch, Launch]] = {}
        self._room: Memory | None = None
        self._room_bytes = 0

    def open(self) -> None:
        """Reach the card. Asked for its count and memory first: a stream that cannot be made complains once more as it goes."""
        cuda = self._cupy.cuda
        if not cuda.runtime.driverGetVersion():
            raise RuntimeError("NVIDIA's driver is not loaded")
        if not cuda.runtime.getDeviceCount():
            raise RuntimeError("there is none")
        cuda.runtime.memGetInfo()
        self._stream = cuda.Stream(non_blocking=True)
        self._transfer = Transfer(self._cupy, self._stream)

    @property
    def name(self) -> str:
        """As its maker calls it."""
        found: bytes = self._cupy.cuda.runtime.getDeviceProperties(0)["name"]
        return found.decode(errors="replace")

    @property
    def memory(self) -> tuple[int, int]:
        """Bytes of the card that are free, and all that it has."""
        free, total = self._cupy.cuda.runtime.memGetInfo()
        return int(free), int(total)

    def __call__(
        self, given: Planes, source: Source, tables: Tables, taken: Planes, target: Target, area: Area
    ) -> tuple[int, int, int]:
        """As `grade_rows`. The area begins where chroma has a sample."""
        picture = _picture(taken, area)
        facts = setting(given, source, tables, picture, target, area)
        brought, counts = list(picture[:3]), np.zeros((1, 3), np.int32)
        with self._stream:
            kernels, look = self._kernel(given.first.dtype, taken.first.dtype), self._look(tables)
            floats = 4 * area.width * area.height
            sizes = [a.nbytes for a in (facts, *given[:3], *brought, counts)]
            places = self._places([*sizes, floats, floats])
            self._transfer.put(places[0], facts)
            down, across = picture.second.shape
            self._grade(kernels, places, look, given, area, (across, down), np.uint32(target.number))
            self._transfer.take([places[7], *places[4:7]], [counts, *brought])
        over, under, outside = (int(count) for count in counts[0])
        return over, under, outside

    def _grade(
        self,
        kernels: tuple[Launch, Launch],
        places: Sequence[int],
        look: Sequence[int],
        given: Planes,
        area: Area,
        chroma: tuple[int, int],
        frame: np.uint32,
    ) -> None:
        """A frame sent band by band: while one is copied, the one before is graded."""
        grade, put_chroma = kernels
        facts, *planes, luma, second, third, counts, cb, cr = (np.uint64(place) for place in places)
        tables = [np.uint64(place) for place in look]
        self._cupy.cuda.runtime.memsetAsync(int(counts), 0, 12, self._stream.ptr)
        for top, many, rows in _bands(given, area.height):
            for place, plane, part in zip(places[1:4], given[:3], rows, strict=True):
                self._transfer.put(place + part.start * plane.strides[0], plane[part])
            band = frame, np.int32(top), np.int32(many)
            grade(_blocks(area.width, many), BLOCK, (facts, *planes, *tables, luma, cb, cr, counts, *band))
        put_chroma(_blocks(*chroma), BLOCK, (facts, cb, cr, second, third, frame))

    def _kernel(self, given: np.dtype[np.generic], taken: np.dtype[np.generic]) -> tuple[Launch, Launch]:
        key = given.name, taken.name
        if key not in self._kernels:
            cuda, words = self._cupy.cuda, text(CARD, given, taken)

            def made() -> bytes:
                # Not RawModule, which adds --ftz=true: what is nearly nothing would count as nothing.
                code, _ = cuda.compiler.compile_using_nvrtc(words, OPTIONS)
                return code if isinstance(code, bytes) else code.encode()

            versions = self._cupy.__version__, cuda.runtime.runtimeGetVersion()
            module = cuda.function.Module()
            module.load(kept((words, OPTIONS, *versions, cuda.Device().compute_capability), made))
            self._kernels[key] = module.get_function("grade"), module.get_function("chroma")
        return self._kernels[key]

    def _look(self, tables: Tables) -> list[int]:
        """Where a look's tables are on the card; the one that was used longest ago goes where there are too many."""
        key = id(tables)
        if key in self._looks:
            self._looks[key] = self._looks.pop(key)
        else:
            while len(self._looks) >= LOOKS:
                del self._looks[next(iter(self._looks))]
            arrays = tables_of(tables)
            starts, size = _starts([array.nbytes for array in arrays])
            memory = self._cupy.cuda.Memory(size)
            places = [memory.ptr + start for start in starts]
            self._looks[key] = tables, memory, places
            for place, array in zip(places, arrays, strict=True):
                self._transfer.put(place, np.ascontiguousarray(array))
        return self._looks[key][2]

    def _places(self, sizes: Sequence[int]) -> list[int]:
        """Where arrays of so many bytes lie on the card, in memory that grows with the largest frame."""
        starts, size = _starts(sizes)
        if self._room is None or size > self._room_bytes:
            self._room = None
            self._room, self._room_bytes = self._cupy.cuda.Memory(size), size
        return [self._room.ptr + start for start in starts]


def most_bytes(width: int, height: int) -> int:
    """Bytes of the card that a worker takes for pictures of that size, from and to 4:2:2 of more than eight bits: two such frames, chroma at
    every pixel between the two kernels, its looks and CUDA's own."""
    return CONTEXT + LOOKS * LOOK + (4 + 4 + 8) * width * height


def _starts(sizes: Sequence[int]) -> tuple[list[int], int]:
    """Of arrays one after another, and the bytes of all."""
    *starts, size = accumulate((max(-(-size // EVERY), 1) * EVERY for size in sizes), initial=0)
    return starts, size


def _bands(given: Planes, height: int) -> Iterator[tuple[int, int, tuple[slice, slice, slice]]]:
    """Rows of luma that are graded together, as many as a piece holds: the first one and how many; and the rows of each plane that they
    need beyond those of the bands before."""
    many, down, had = max(transfer.PIECE // given.first.strides[0] // 2 * 2, 2), -(-height // given.sub_y), 0
    for top in range(0, height, many):
        end = min(top + many, height)
        needed = (
            end if given.sub_y == 1 else min(end // 2 + 1, down)
        )  # the last row's chroma lies between two
        chroma = slice(had, needed)
        yield top, end - top, (slice(top, end), chroma, chroma)
        had = needed


def _picture(taken: Planes, area: Area) -> Planes:
    """The output's planes, of the picture alone."""
    across, down = -(-area.width // taken.sub_x), -(-area.height // taken.sub_y)
    left, top = area.left // taken.sub_x, area.top // taken.sub_y
    luma = taken.first[area.top : area.top + area.height, area.left : area.left + area.width]
    second, third = (plane[top : top + down, left : left + across] for plane in (taken.second, taken.third))
    return taken._replace(first=luma, second=second, third=third)


def _blocks(across: int, down: int) -> tuple[int, int]:
    return -(-across // BLOCK[0]), -(-down // BLOCK[1])
