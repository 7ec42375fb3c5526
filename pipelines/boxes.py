"""Boxes of the ISO base media file format (ISO/IEC 14496-12), as far as FFmpeg's muxer leaves work to do."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

__all__ = ["Box", "add_to_sample_entry", "boxes", "enable_sound_tracks"]


class Box(NamedTuple):
    """One box: where it starts, where its contents start, where it ends."""

    kind: bytes
    start: int
    body: int
    end: int


def boxes(data: bytes, start: int = 0, end: int | None = None) -> Iterator[Box]:
    """The boxes that stand one after another in `data` from `start` to `end`."""
    end = len(data) if end is None else end
    while start + 8 <= end:
        size, kind = struct.unpack_from(">I4s", data, start)
        body = start + 8
        if size == 1:
            size, body = struct.unpack_from(">Q", data, start + 8)[0], start + 16
        elif size == 0:
            size = end - start
        if size < 8 or start + size > end:
            return
        yield Box(kind, start, body, start + size)
        start += size


def _inside(data: bytes, box: Box, *path: bytes) -> Box | None:
    for kind in path:
        found = next((b for b in boxes(data, box.body, box.end) if b.kind == kind), None)
        if found is None:
            return None
        box = found
    return box


def enable_sound_tracks(path: Path) -> None:
    """Set the track-enabled flag (14496-12, 8.3.2) of every sound track: FFmpeg sets it for the first alone."""
    with path.open("r+b") as file:
        place = 0
        while header := file.read(16):
            size, kind = struct.unpack_from(">I4s", header)
            if size == 1:
                size = struct.unpack_from(">Q", header, 8)[0]
            if kind == b"moov" or size < 8:
                break
            place += size
            file.seek(place)
        file.seek(place)
        data = file.read(size)
        movie = Box(b"moov", 0, 8, len(data))
        for track in boxes(data, movie.body, movie.end):
            handler = _inside(data, track, b"mdia", b"hdlr") if track.kind == b"trak" else None
            head = _inside(data, track, b"tkhd") if handler else None
            if handler and head and data[handler.body + 8 : handler.body + 12] == b"soun":
                file.seek(place + head.body + 3)
                file.write(bytes([data[head.body + 3] | 1]))


def add_to_sample_entry(data: bytes, extra: bytes) -> bytes:
    """A movie with `extra` boxes at the end of its first track's sample entry. Its `moov` must be the last box, so
    that nothing it points to moves."""
    *_, movie = boxes(data)
    assert movie.kind == b"moov"
    chain = [movie]
    for kind in (b"trak", b"mdia", b"minf", b"stbl", b"stsd"):
        found = _inside(data, chain[-1], kind)
        assert found is not None
        chain.append(found)
    described = chain[-1]
    entry = next(boxes(data, described.body + 8, described.end))  # after version, flags and the count
    result = bytearray(data[: entry.end] + extra + data[entry.end :])
    for box in [*chain, entry]:
        struct.pack_into(">I", result, box.start, box.end - box.start + len(extra))
    return bytes(result)
