"""Samples to a graphics card and back, through a few small pieces of memory that the card reads and writes by itself (pinned).

A piece is filled while the one before is under way. Pieces stay in the processor's cache, so that a frame of any size is read from
memory once and takes no more of such memory than they have. Nobody spins while the card works, nor waits for ever.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = ["PIECE", "PIECES", "Memory", "Transfer"]

PIECE, PIECES = 4 << 20, 3  # bytes of one, and how many: all the pinned memory that a worker takes
GIVEN_UP = 20.0  # seconds that the card may take for what it has in hand
PAUSE, LONGEST = 5e-5, 2e-3  # seconds between two looks whether it is done
TO_CARD, FROM_CARD = 1, 2  # cudaMemcpyKind
NOT_READY = 600  # cudaErrorNotReady

Array = NDArray[np.generic]


class Memory(Protocol):
    """Memory that CuPy has: it is let go with the last reference."""

    ptr: int


@dataclass(frozen=True, kw_only=True, eq=False)
class _Piece:
    pinned: Memory
    bytes: NDArray[np.uint8]
    event: Memory  # after what it was last used for


class Transfer:
    """Copies on one stream of one card, in the order asked for. Whatever CuPy raises comes through; TimeoutError where the card does
    not answer."""

    def __init__(self, cupy: ModuleType, stream: Memory) -> None:
        self._runtime, self._stream = cupy.cuda.runtime, stream
        self._pieces = [self._piece(cupy) for _ in range(PIECES)]
        self._turn = 0

    def put(self, there: int, array: Array) -> None:
        """An array to the card, contiguous; it may be changed from then on."""
        flat = array.reshape(-1).view(np.uint8)
        for start in range(0, flat.size, PIECE):
            part, piece = flat[start : start + PIECE], self._next()
            self._wait(piece)
            piece.bytes[: part.size] = part
            self._runtime.memcpyAsync(there + start, piece.pinned.ptr, part.size, TO_CARD, self._stream.ptr)
            self._runtime.eventRecord(piece.event.ptr, self._stream.ptr)

    def take(self, there: Sequence[int], arrays: Sequence[Array]) -> None:
        """Arrays (rows, columns) from the card, where they lie without gaps, once it has done all that it was asked before."""
        under_way: deque[tuple[_Piece, Array]] = deque()
        for place, rows in _parts(there, arrays):
            if len(under_way) == PIECES:
                self._landed(*under_way.popleft())
            piece = self._next()
            self._runtime.memcpyAsync(piece.pinned.ptr, place, rows.nbytes, FROM_CARD, self._stream.ptr)
            self._runtime.eventRecord(piece.event.ptr, self._stream.ptr)
            under_way.append((piece, rows))
        while under_way:
            self._landed(*under_way.popleft())

    def _landed(self, piece: _Piece, rows: Array) -> None:
        self._wait(piece)
        rows[:] = piece.bytes[: rows.nbytes].view(rows.dtype).reshape(rows.shape)

    def _next(self) -> _Piece:
        self._turn += 1
        return self._pieces[self._turn % PIECES]

    def _wait(self, piece: _Piece) -> None:
        """Until the card has done what stood before the piece's event. Asleep: a thread that spins takes a core from a worker."""
        status, pause, slept = self._runtime.eventQuery(piece.event.ptr), PAUSE, 0.0
        while status == NOT_READY:
            if slept > GIVEN_UP:  # not by the clock, which goes on while this process is stopped
                raise TimeoutError(f"it has not answered for {GIVEN_UP:.0f} s")
            time.sleep(pause)
            slept, pause = slept + pause, min(2 * pause, LONGEST)
            status = self._runtime.eventQuery(piece.event.ptr)
        if status:
            self._runtime.streamSynchronize(self._stream.ptr)  # raises the error by its name
            raise RuntimeError(f"CUDA error {status}")

    @staticmethod
    def _piece(cupy: ModuleType) -> _Piece:
        pinned = cupy.cuda.alloc_pinned_memory(PIECE)
        event = cupy.cuda.Event(disable_timing=True)
        return _Piece(pinned=pinned, bytes=np.frombuffer(pinned, np.uint8, PIECE), event=event)


def _parts(there: Sequence[int], arrays: Sequence[Array]) -> Iterator[tuple[int, Array]]:
    """As many rows at a time as a piece holds, and where they lie on the card."""
    for place, array in zip(there, arrays, strict=True):
        row = array.shape[1] * array.itemsize
        many = PIECE // row
        for first in range(0, array.shape[0], many):
            yield place + first * row, array[first : first + many]
