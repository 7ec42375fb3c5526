"""Movies that end before they should, told by their containers: a copy that broke off, or a recording that was never closed."""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

from rushlight.pipelines.formats.mp4_boxes import file_boxes
from rushlight.pipelines.originals.rotation_and_interlace import footer_place, is_cut_short

__all__ = ["cut_short"]

# Boxes that a QuickTime or MP4 file may begin with (ISO/IEC 14496-12, 4.3; QuickTime File Format, movie files).
_FIRST = frozenset({b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"})
_NO_INDEX = "was cut short, or its recording was never closed: it has no index; copy it again"

_MOST = 1 << 44  # bytes: more than any card holds; a length beyond is damage
_CLAIMS = "was cut short, or its boxes are damaged: one of them claims more than any file has; copy it again"


def cut_short(path: Path) -> str:
    """The clause on a movie whose container shows that it ends too early: "was cut short: 5 of at least 9 bytes are there; copy it
    again". Empty where nothing shows it. OSError where it cannot be read.

    Shown by: no bytes at all; of QuickTime and MP4 (ISO/IEC 14496-12, 4.2), a box that is longer than what is left of the file, or
    none called `moov`; of MXF (SMPTE ST 377-1), no footer where the header says that it is, or anywhere.
    """
    with path.open("rb", buffering=0) as stream:
        size = stream.seek(0, 2)
        if not size:
            return "is empty; copy it again"
        stream.seek(0)
        if stream.read(4) != b"\x06\x0e\x2b\x34":
            return _of_boxes(stream, size)
    if not is_cut_short(path):
        return ""
    footer = footer_place(path)
    return _lacks(size, footer + 1) if footer >= size else _NO_INDEX


def _of_boxes(stream: BinaryIO, size: int) -> str:
    last, index = None, False
    for box in file_boxes(stream, size):
        if last is None and box.kind not in _FIRST:
            return ""
        last, index = box, index or box.kind == b"moov"
    if last and last.end > size:
        return _lacks(size, last.end) if last.end < _MOST else _CLAIMS
    return "" if index or last is None else _NO_INDEX


def _lacks(size: int, least: int) -> str:
    return f"was cut short: {size:,} of at least {least:,} bytes are there; copy it again"
