"""RIFF/WAVE, RF64 and BW64 as chunks: where each lies, whatever the sizes in the header are worth.

Source: EBU Tech 3285 v2 (2011) for BWF, EBU Tech 3306 v1.1 (2009) and ITU-R BS.2088-1 for RF64 and BW64. Chunks come in any
order and before or after `data`; nothing of `data` itself is read here. A recorder that lost its power leaves sizes of 0,
a file past 4 GiB that was written as plain RIFF has a size that wrapped, and a copy may be cut off: each is said, and what
is there is used.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO

from rushlight.pipelines.errors import SourceError

__all__ = ["Chunk", "Riff", "chunk_bytes", "read_riff"]

WRAP = 1 << 32  # what a 32-bit size counts modulo
UNKNOWN = WRAP - 1  # a size that stands elsewhere (RF64), or that a stream never knew
MOST_CHUNKS = 4000
MOST_TABLE = 1000  # entries of ds64


@dataclass(frozen=True, kw_only=True)
class Chunk:
    """One chunk: its four letters, and where its bytes lie in the file."""

    ident: str
    start: int  # of its bytes, after the eight of its head
    size: int  # bytes that are there


@dataclass(frozen=True, kw_only=True)
class Riff:
    """The chunks of a file in order. `data` is its sound, and `stated` the size its header gives; `notes` say what is wrong."""

    form: str  # RIFF, RF64 or BW64
    chunks: tuple[Chunk, ...]
    data: Chunk
    stated: int | None
    notes: tuple[str, ...] = ()

    def first(self, ident: str) -> Chunk | None:
        """The first chunk of that name (case and spaces at its end do not count); None without one."""
        return next((c for c in self.chunks if c.ident.strip().lower() == ident.strip().lower()), None)


def chunk_bytes(stream: BinaryIO, chunk: Chunk, limit: int) -> bytes:
    """A chunk's bytes, `limit` of them at most."""
    stream.seek(chunk.start)
    return stream.read(min(chunk.size, limit))


def read_riff(stream: BinaryIO, length: int) -> Riff:
    """The chunks of a file that is `length` bytes long. SourceError for what is no RIFF/WAVE, or has no `data`."""
    stream.seek(0)
    head = stream.read(12)
    form = head[:4].decode("latin-1")
    if form not in ("RIFF", "RF64", "BW64") or head[8:12] != b"WAVE":
        raise SourceError("is no WAV file: it does not begin with RIFF, RF64 or BW64 and WAVE")
    sizes: dict[bytes, int] = {}
    chunks: list[Chunk] = []
    data: Chunk | None = None
    stated: int | None = None
    notes: list[str] = []
    place = 12
    while place + 8 <= length and len(chunks) < MOST_CHUNKS:
        ident, size = _head(stream, place)
        if not _plausible(ident):
            break  # what follows is no chunk: padding, or the rest of a damaged file
        start = place + 8
        if ident == b"ds64" and not sizes:
            sizes = _ds64(stream, start, min(size, length - start))
        wide = form != "RIFF" and size == UNKNOWN
        size = sizes.get(ident, size) if wide else size
        if ident == b"data" and data is None:
            there, note = _data_size(stream, start, size, length, form)
            stated = None if size == UNKNOWN else size
            notes += [note] if note else []
            data, size = Chunk(ident="data", start=start, size=there), there
        size = min(size, length - start)
        chunks.append(Chunk(ident=ident.decode("latin-1"), start=start, size=size))
        place = _after(stream, start + size, length)
    if data is None:
        raise SourceError("holds no sound: it has no `data` chunk")
    return Riff(form=form, chunks=tuple(chunks), data=data, stated=stated, notes=tuple(notes))


def _head(stream: BinaryIO, place: int) -> tuple[bytes, int]:
    stream.seek(place)
    head = stream.read(8)
    if len(head) < 8:
        return b"", 0
    return head[:4], struct.unpack("<I", head[4:])[0]


def _plausible(ident: bytes) -> bool:
    return len(ident) == 4 and all(32 <= byte < 127 for byte in ident) and ident.strip() != b""


def _after(stream: BinaryIO, end: int, length: int) -> int:
    """Offset of the next chunk: chunks are padded to an even length, and some writers forget it."""
    if end % 2 == 0:
        return end
    padded, bare = _head(stream, end + 1)[0], _head(stream, end)[0]
    return end if not _plausible(padded) and _plausible(bare) else min(end + 1, length)


def _ds64(stream: BinaryIO, start: int, size: int) -> dict[bytes, int]:
    """The 64-bit sizes that RF64 states, by chunk."""
    stream.seek(start)
    raw = stream.read(min(size, 28 + 12 * MOST_TABLE))
    if len(raw) < 24:
        return {}
    sizes = {b"data": struct.unpack_from("<Q", raw, 8)[0]}
    entries = struct.unpack_from("<I", raw, 24)[0] if len(raw) >= 28 else 0
    for index in range(min(entries, (len(raw) - 28) // 12)):
        ident, wide = struct.unpack_from("<4sQ", raw, 28 + 12 * index)
        sizes.setdefault(ident, wide)
    return sizes


def _data_size(stream: BinaryIO, start: int, stated: int, length: int, form: str) -> tuple[int, str]:
    """Bytes of sound that are really there, and what is to be said of the size that the header states."""
    room = length - start
    if stated == 0 and room > 0 and not _chain(stream, start, length):
        return room, "its header says 0 bytes of sound: the recorder did not finish it; what is there is used"
    if stated == UNKNOWN and (form == "RIFF" or stated > room):
        return room, "its header does not say how much sound there is; what is there is used"
    if stated > room:
        return room, "is cut off: part of its sound is missing at the end"
    if form == "RIFF" and room - stated >= WRAP - 8 and not _chain(stream, _even(start + stated), length):
        sizes = range(stated + (room - stated) // WRAP * WRAP, stated, -WRAP)
        whole = next(
            (s for s in sizes if _chain(stream, _even(start + s), length)), sizes[0] if sizes else room
        )
        return whole, "is longer than 4 GiB and not RF64: the size in its header wrapped; all of it is used"
    return stated, ""


def _even(place: int) -> int:
    return place + place % 2


def _chain(stream: BinaryIO, place: int, length: int) -> bool:
    """True if chunks follow one another from here to the end of the file."""
    for _ in range(MOST_CHUNKS):
        if place in (length, length + 1):
            return True
        ident, size = _head(stream, place) if place + 8 <= length else (b"", 0)
        if not _plausible(ident):
            return False
        place = _even(place + 8 + size)
    return False
