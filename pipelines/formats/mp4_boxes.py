"""Boxes of the ISO base media file format (ISO/IEC 14496-12), as far as FFmpeg's muxer leaves work to do."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import BinaryIO, NamedTuple

from rushlight.pipelines.errors import SourceError

__all__ = [
    "Box",
    "add_to_sample_entry",
    "boxes",
    "enable_sound_tracks",
    "file_boxes",
    "picture_track",
    "sample_entries",
    "timecode_track_rate",
]


# Boxes that stand outermost (ISO/IEC 14496-12, table 1; QuickTime File Format, movie files).
_OUTERMOST = frozenset(
    b"ftyp styp pdin moov moof mfra mdat imda free skip wide pnot meta udta uuid sidx ssix prft emsg".split()
)
MOST = 1 << 29  # bytes of an index: days of pictures and sound


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


def file_boxes(stream: BinaryIO, size: int) -> Iterator[Box]:
    """The outermost boxes of a file of `size` bytes, which is read no further than their heads. The last may end after the file does,
    if it is of a kind that stands there; what is no box, or odd bytes at the end, ends them."""
    place = 0
    while place < size:
        stream.seek(place)
        head = stream.read(16)
        if len(head) < 8:
            return
        length, kind = struct.unpack_from(">I4s", head)
        body = 8
        if length == 1 and len(head) == 16:
            length, body = struct.unpack_from(">Q", head, 8)[0], 16
        if length == 0:
            length = size - place
        if length < 8 or not any(kind) or (place + length > size and kind not in _OUTERMOST):
            return
        yield Box(kind, place, place + body, place + length)
        place += length


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
        place, data = _movie(file)
        for track in _tracks(data, b"soun"):
            if head := _inside(data, track, b"tkhd"):
                file.seek(place + head.body + 3)
                file.write(bytes([data[head.body + 3] | 1]))


class PictureTrack(NamedTuple):
    """The first picture track: its display matrix a b c d (14496-12, 8.3.2: a point x y is shown at ax + cy, bx + dy),
    and the parts of the track that its edit list plays (8.6.6), leaving out pauses; 1 without one."""

    matrix: tuple[float, float, float, float]
    edits: int


def picture_track(path: Path) -> PictureTrack | None:
    """None where the file has no such track, or one cut short."""
    with path.open("rb") as file:
        _, data = _movie(file)
    track = next(_tracks(data, b"vide"), None)
    head = _inside(data, track, b"tkhd") if track else None
    head = head if head and head.body < head.end else None
    place = head.body + (52 if data[head.body] else 40) if head else 0  # version 1 has longer times
    if track is None or head is None or place + 20 > head.end:
        return None
    a, b, _, c, d = (value / 65536 for value in struct.unpack_from(">5i", data, place))
    edits = 1
    listed = _inside(data, track, b"edts", b"elst")
    if listed and listed.body < listed.end:
        form, size = (">q", 20) if data[listed.body] else (">i", 12)
        starts = range(listed.body + 8 + size - 4 - struct.calcsize(form), listed.end - 7, size)
        edits = sum(struct.unpack_from(form, data, at)[0] >= 0 for at in starts)
    return PictureTrack((a, b, c, d), edits)


def sample_entries(path: Path, handler: bytes) -> list[str]:
    """Coding of each track of that handler (`vide`, `soun`): the kind of its first sample entry (8.5.2)."""
    with path.open("rb") as file:
        _, data = _movie(file)
    found = [_inside(data, track, b"mdia", b"minf", b"stbl", b"stsd") for track in _tracks(data, handler)]
    return [data[b.body + 12 : b.body + 16].decode("ascii", "replace") if b else "" for b in found]


def timecode_track_rate(path: Path) -> Fraction | None:
    """Frames a second that the first timecode track counts (QuickTime File Format, timecode sample description: time scale
    over frame duration); None without one."""
    with path.open("rb") as file:
        _, data = _movie(file)
    track = next(_tracks(data, b"tmcd"), None)
    described = _inside(data, track, b"mdia", b"minf", b"stbl", b"stsd") if track else None
    entry = next(boxes(data, described.body + 8, described.end), None) if described else None
    if entry is None or entry.kind != b"tmcd" or entry.body + 24 > entry.end:
        return None
    scale, duration = struct.unpack_from(">II", data, entry.body + 16)
    return Fraction(scale, duration) if scale and duration else None


def _movie(file: BinaryIO) -> tuple[int, bytes]:
    """The `moov` box: where it starts, and the whole of it; nothing where there is none. SourceError for one that no movie needs."""
    size = file.seek(0, 2)
    box = next((box for box in file_boxes(file, size) if box.kind == b"moov"), None)
    if box is None:
        return size, b""
    length = min(box.end, size) - box.start
    if length > MOST:
        text = f"its index (moov) has {length:,} bytes, and more than {MOST:,} are not read; give a transcode"
        raise SourceError(text, file=str(file.name))
    file.seek(box.start)
    return box.start, file.read(length)


def _tracks(data: bytes, handler: bytes) -> Iterator[Box]:
    """The `trak` boxes of a `moov` that have that handler."""
    for track in boxes(data, 8, len(data)):
        kind = _inside(data, track, b"mdia", b"hdlr") if track.kind == b"trak" else None
        if kind and data[kind.body + 8 : kind.body + 12] == handler:
            yield track


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
