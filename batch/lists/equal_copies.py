"""Originals of one name in several places: whether they are the same file twice, as on a card and its copy."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import BinaryIO

from rushlight.pipelines.heartbeat import beat

__all__ = ["EQUAL", "alike", "twin_notes"]

WHOLE = 32_000_000  # bytes of an original up to which all of it is compared
MIB = 1 << 20
EQUAL = "equal byte for byte"
ENDS = "equal in size and in the first and last MiB of each file"
Files = Sequence[Path]


def alike(originals: Sequence[Files]) -> str:
    """In what way originals, each with its files in order, are equal: EQUAL where all was compared, what was where they are
    large; empty where they differ or cannot be read."""
    try:
        sizes = [[file.stat().st_size for file in files] for files in originals]
        if len(originals) < 2 or not sizes[0] or any(size != sizes[0] for size in sizes):
            return ""
        whole = sum(sizes[0]) <= WHOLE
        first, *others = originals
        same = all(_same(a, b, whole) for other in others for a, b in zip(first, other, strict=True))
    except OSError:
        return ""
    return (EQUAL if whole else ENDS) if same else ""


def twin_notes(twins: Iterable[Sequence[Files]]) -> list[str]:
    """Notes on twins that are equal; each item is the originals of one name. One sentence for each group of
    folders."""
    found: dict[tuple[str, tuple[Path, ...]], list[str]] = {}
    for originals in twins:
        left = sorted(originals, key=lambda files: files[0])
        while left:
            first, *rest = left
            equal = [first, *(files for files in rest if alike([first, files]))]
            left = [files for files in rest if files not in equal]
            if how := alike(equal):
                places = tuple(files[0].parent for files in equal)
                found.setdefault((how, places), []).append(first[0].name)
    return [
        f"{names[0]}{f' and {len(names) - 1} more' if len(names) > 1 else ''} in {' and '.join(map(str, places))}: {how}, "
        "so one looks like a copy of the other; each is made, in a folder of its own"
        for (how, places), names in found.items()
    ]


def _same(one: Path, two: Path, whole: bool) -> bool:
    with one.open("rb") as first, two.open("rb") as second:
        if whole:
            return _rest(first, second)
        if first.read(MIB) != second.read(MIB):
            return False
        for stream in (first, second):
            stream.seek(max(0, one.stat().st_size - MIB))
        return first.read(MIB) == second.read(MIB)


def _rest(first: BinaryIO, second: BinaryIO) -> bool:
    while block := first.read(MIB):
        beat()
        if block != second.read(MIB):
            return False
    return not second.read(1)
