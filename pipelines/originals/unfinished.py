"""Originals that are not written to their end, told by the file alone: names that copies use, and containers that are still open.

A size says nothing: some copies claim the whole of it first. A time says nothing either: many set it back when they end.
"""

from __future__ import annotations

import os
import re
import struct
from pathlib import Path
from typing import BinaryIO

from rushlight.pipelines.formats.mp4_boxes import file_boxes
from rushlight.pipelines.originals.spanned_clips import MOVIES

__all__ = ["is_passing_name", "unfinished"]

# Names under which a copy writes what it has not finished: common practice, no source.
_PASSING = (".part", ".partial", ".tmp", ".temp")
_RENAMED_LATER = re.compile(r"\..+\.[A-Za-z0-9]{6}")  # `.A001C001.mov.x7Qk2b`
_BOXES = frozenset({".mov", ".mp4", ".m4v"})
TAIL = 1 << 20  # bytes: more than a second of silence in eight channels
# SMPTE ST 377-1, from memory: a partition pack's key up to its kind (2 header, 3 body, 4 footer), and a random index pack's.
_PARTITION = bytes.fromhex("060e2b34020501010d01020101")
_INDEX = bytes.fromhex("060e2b34020501010d01020101110100")
_FOOTER = 4


def is_passing_name(name: str) -> bool:
    """True if a file's name is one that a copy gives it until it is whole."""
    return name.lower().endswith(_PASSING) or bool(_RENAMED_LATER.fullmatch(name))


def unfinished(path: Path) -> str:
    """Why a file is not written to its end, as a clause ("is empty"); empty where nothing says so. OSError where it
    cannot be read.

    Looked at: the name; of pictures and movies, no bytes at all; of movies, nothing but zeros in the last MiB (or the last quarter
    of a small one); of QuickTime and MP4 (ISO/IEC 14496-12), boxes that do not end where the file does, or none
    called `moov`; of MXF (SMPTE ST 377-1), no footer partition.
    """
    if is_passing_name(path.name):
        return "has the name of a copy that is not finished"
    with path.open("rb", buffering=0) as stream:
        size = os.fstat(stream.fileno()).st_size
        if size == 0:
            return "is empty"
        suffix = path.suffix.lower()
        if suffix not in MOVIES:
            return ""
        length = min(TAIL, max(1, size // 4))
        stream.seek(size - length)
        if not any(stream.read(length)):
            return "is not filled to its end yet"
        if suffix in _BOXES:
            return _boxes(stream, size)
        return _footer(stream, size) if suffix == ".mxf" else ""


def _boxes(stream: BinaryIO, size: int) -> str:
    end, index = 0, False
    for box in file_boxes(stream, size):
        end, index = box.end, index or box.kind == b"moov"
    if not index:
        return "has no index yet (moov)"
    return "ends in the middle of a box" if end > size else ""


def _footer(stream: BinaryIO, size: int) -> str:
    stream.seek(0)
    head = stream.read(128)
    if not head.startswith(_PARTITION):
        return ""  # a run-in ahead of it, or something else: no word on it
    body = 17 if head[16] < 0x80 else 17 + (head[16] & 0x7F)
    if len(head) < body + 32:
        return "ends in the middle of its header"
    place = struct.unpack_from(">Q", head, body + 24)[0]
    if place and place + 16 <= size:
        stream.seek(place)
        found = stream.read(16)
        if found.startswith(_PARTITION) and found[13] == _FOOTER:
            return ""
    stream.seek(max(0, size - TAIL))
    tail = stream.read(TAIL)
    return "" if _PARTITION + bytes([_FOOTER]) in tail or _INDEX in tail else "has no footer yet"
