"""Rotation and interlacing from a movie's header, which its demultiplexer keeps to itself."""

from __future__ import annotations

from math import atan2, degrees
from pathlib import Path
from struct import unpack

import av
from av.container import InputContainer
from av.sidedata.sidedata import Type

from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.formats.media_libraries import side_data
from rushlight.pipelines.formats.mp4_boxes import picture_track

__all__ = ["footer_place", "interlaced", "is_atom", "is_cut_short", "orientation", "turn_of"]


def turn_of(a: float, b: float, c: float, d: float) -> tuple[int, bool]:
    """Degrees clockwise (0..359), and whether mirrored left to right ahead of the turn, of the display matrix that
    shows the point x y (y down) at ax + cy, bx + dy."""
    mirrored = a * d - b * c < 0
    angle = degrees(atan2(-b, -a) if mirrored else atan2(b, a))
    return round(angle) % 360, mirrored


def orientation(path: Path, container: InputContainer, stream: av.VideoStream) -> tuple[int, bool]:
    """`turn_of` what the container states; upright where it states nothing.

    SourceError where an edit list has several parts: demultiplexers give some of their pictures twice or under one time.
    """
    matrix = None
    if "mov" in container.format.name:
        track = picture_track(path)
        if track and track.edits > 1:
            raise SourceError(
                f"its edit list plays {track.edits} parts of the picture track; such a movie is edited, not an original",
                file=str(path),
            )
        matrix = track.matrix if track else None
    elif "matroska" in container.format.name:  # only its pictures carry it
        matrix = _matrix_of_first_picture(container, stream)
    return turn_of(*matrix) if matrix else (0, False)


def _matrix_of_first_picture(
    container: InputContainer, stream: av.VideoStream
) -> tuple[float, float, float, float] | None:
    try:
        container.seek(0)
        picture = next(container.decode(stream), None)
    except av.error.FFmpegError:
        return None
    held = side_data(picture, Type.DISPLAYMATRIX) if picture else None
    if held is None:
        return None
    a, b, _, c, d = (value / 65536 for value in unpack("=5i", held[:20]))
    return a, b, c, d


def interlaced(path: Path, stream: av.VideoStream) -> bool:
    """True if header or codec say that pictures are pairs of fields.

    A MOV without a `fiel` box leaves it open for DNxHD; its pictures say it (SMPTE ST 2019-1, field count of the
    coding unit's header; the place from FFmpeg's decoder).
    """
    order = int(stream.codec_context.field_order)
    entry = next(iter(stream.index_entries), None)
    if order or stream.codec_context.name != "dnxhd" or entry is None:
        return order > 1
    with path.open("rb") as file:
        file.seek(entry.pos)
        head = file.read(6)
    return len(head) == 6 and bool(head[5] & 2)


def is_atom(container: InputContainer) -> bool:
    """OP-Atom: true if an MXF file holds one track alone (SMPTE ST 390; its label's 13th byte)."""
    return str(container.metadata.get("operational_pattern_ul", "")).rpartition(".")[2].startswith("10")


_PARTITION = bytes.fromhex("060e2b34020501010d0102010102")  # ST 377-1, 7.1: a header partition pack
_ENDS = bytes.fromhex(
    "060e2b34020501010d01020101110100"
)  # ST 377-1, 12: a random index pack, always the last


def is_cut_short(path: Path) -> bool:
    """True if an MXF file ends before its footer: without an index, a demultiplexer guesses where a picture
    lies.

    SMPTE ST 377-1:2011: the file says where its footer is in its first partition pack, or ends in a random index pack.
    """
    with path.open("rb") as file:
        head = file.read(64)
        size = file.seek(0, 2)
        file.seek(max(0, size - 4))
        length = int.from_bytes(file.read(4))
        file.seek(max(0, size - length))
        ends = file.read(16) == _ENDS
    if ends or not head.startswith(_PARTITION):
        return False
    footer = footer_place(path)
    return footer == 0 or footer >= size


def footer_place(path: Path) -> int:
    """The byte at which the first partition pack of an MXF file says that its footer begins (SMPTE ST 377-1:2011, 7.1); 0 where it
    does not say."""
    with path.open("rb") as file:
        head = file.read(64)
    body = 17 + (head[16] & 0x7F if len(head) > 16 and head[16] & 0x80 else 0)
    return int.from_bytes(head[body + 24 : body + 32])
