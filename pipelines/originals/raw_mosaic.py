"""Camera raw under another name: whether a TIFF file holds a sensor's mosaic, which our library would open as grey.

TIFF 6.0 for the file; TIFF/EP (ISO 12234-2) and Adobe's DNG 1.7 for the tags.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

__all__ = ["is_mosaic"]

PHOTOMETRIC, SUB_FILES = 262, 330
MOSAIC = {33421, 33422, 50706}  # CFARepeatPatternDim, CFAPattern, DNGVersion
CFA, LINEAR_RAW = 32803, 34892  # values of PhotometricInterpretation
MOST = 64  # directories and, of each, 64 times as many tags: more is no file of a camera's


def is_mosaic(path: Path) -> bool:
    """True if a TIFF file states a colour filter array, or is a DNG; of any of its pictures and their
    sub-files."""
    with path.open("rb") as file:
        try:
            return any(
                tag in MOSAIC or (tag == PHOTOMETRIC and value in (CFA, LINEAR_RAW))
                for tag, value in _tags(file)
            )
        except struct.error:  # cut short: the library says what is wrong with it
            return False


def _tags(file: BinaryIO) -> Iterator[tuple[int, int]]:
    """Every tag of every directory with its first value, or where that lies."""
    size = file.seek(0, 2)
    file.seek(0)
    head = file.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2], "")
    kind = struct.unpack_from(order + "H", head, 2)[0] if order else 0
    if kind not in (42, 43):  # 43 is BigTIFF
        return
    word, count, step = ("I", "H", 12) if kind == 42 else ("Q", "Q", 20)
    todo = [struct.unpack_from(order + word, head, 4 if kind == 42 else 8)[0]]
    seen: set[int] = set()
    while todo and len(seen) < MOST:
        place = todo.pop()
        if not 0 < place < size or place in seen:
            continue
        seen.add(place)
        file.seek(place)
        number = struct.unpack(order + count, file.read(struct.calcsize(count)))[0]
        data = file.read(min(number, MOST * 64) * step + struct.calcsize(word))
        for at in range(0, min(number, MOST * 64) * step, step):
            tag, form, length = struct.unpack_from(order + "HH" + word, data, at)
            value = at + 4 + struct.calcsize(word)
            first = struct.unpack_from(order + ("H" if form == 3 else word), data, value)[0]
            yield tag, first
            if tag == SUB_FILES:
                todo += _places(file, order, word, form, min(length, MOST), min(first, size))
        if number <= MOST * 64:
            todo.append(struct.unpack_from(order + word, data, number * step)[0])


def _places(file: BinaryIO, order: str, word: str, form: int, length: int, first: int) -> list[int]:
    """Offsets of the directories that a tag names: itself, or a list."""
    unit = "Q" if form in (16, 18) else "I"
    if length * struct.calcsize(unit) <= struct.calcsize(word):
        return [first]
    file.seek(first)
    return list(struct.unpack(f"{order}{length}{unit}", file.read(length * struct.calcsize(unit))))
