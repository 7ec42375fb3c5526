"""Boxes of movies by other hands: lengths that are no lengths, boxes with nothing in them, an index that no movie needs."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.formats import mp4_boxes
from rushlight.pipelines.formats.mp4_boxes import picture_track, sample_entries, timecode_track_rate

HEAD = bytes(8) + b"vide"


def box(kind: bytes, *inside: bytes) -> bytes:
    body = b"".join(inside)
    return struct.pack(">I4s", len(body) + 8, kind) + body


def looked(path: Path, data: bytes) -> tuple[object, ...]:
    path.write_bytes(data)
    return picture_track(path), sample_entries(path, b"vide"), timecode_track_rate(path)


@pytest.mark.parametrize("kind", [b"mdat", b"moov"])
@pytest.mark.parametrize("length", [16, 2**40, 2**62, 2**63, 2**64 - 1])
def test_lengths_that_are_none(kind: bytes, length: int, tmp_path: Path) -> None:
    data = struct.pack(">I4sQ", 1, kind, length) + b"\1" * 100
    assert looked(tmp_path / "a.mov", data) == (None, [], None)


def test_boxes_with_nothing_in_them(tmp_path: Path) -> None:
    track = box(b"mdia", box(b"hdlr", HEAD)), box(b"tkhd")
    assert looked(tmp_path / "a.mov", box(b"moov", box(b"trak", *track)))[0] is None
    track = box(b"mdia", box(b"hdlr", HEAD)), box(b"tkhd", bytes(84)), box(b"edts", box(b"elst"))
    found, *_ = looked(tmp_path / "b.mov", box(b"moov", box(b"trak", *track)))
    assert isinstance(found, mp4_boxes.PictureTrack) and found.edits == 1


def test_an_index_that_no_movie_needs_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    with path.open("wb") as file:
        file.write(struct.pack(">I4sQ", 1, b"moov", 20 << 30))
        file.truncate(20 << 30)  # a hole, which takes no room on the disk
    with pytest.raises(SourceError, match="has 21,474,836,480 bytes, and more than 536,870,912 are not read"):
        picture_track(path)
