"""A clip that is several movie files (size-limited chapters): one original where its timecode runs on.

Named by a pattern, `A001C003_###.mov`: the `#` stand for the files' numbers. They may lie on several cards.
"""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from rushlight.pipelines.errors import SourceError, from_os
from rushlight.pipelines.originals.facts import Facts

__all__ = ["MOVIES", "is_span", "joined", "span_files"]

MOVIES = frozenset({".mov", ".mp4", ".m4v", ".mxf", ".avi", ".mkv", ".mts", ".m2ts"})
_ALIKE = (
    "codec",
    "stored_format",
    "width",
    "height",
    "pixel_aspect",
    "rotation",
    "mirrored",
    "rate",
    "levels_tag",
    "matrix_tag",
    "primaries_tag",
    "transfer_tag",
)


def is_span(path: Path) -> bool:
    """True if the name is a pattern for several movie files; a file really called that is one file."""
    return "#" in path.name and path.suffix.lower() in MOVIES and not path.exists()


def span_files(pattern: Path, elsewhere: Iterable[Path] = ()) -> tuple[Path, ...]:
    """The files of a span in order of number: those beside the pattern and, of other cards, those in a folder of
    `elsewhere` whose numbers run on from there; a folder with numbers that are had already is another clip's, or a copy.

    SourceError if there are none, or a number between is missing.
    """
    found = _numbered(pattern, pattern.parent)
    others = [_numbered(pattern, folder) for folder in dict.fromkeys(elsewhere) if folder != pattern.parent]
    while next_card := next((o for o in others if o and _runs_on(found, o)), None):
        found |= next_card
    if not found:
        raise SourceError("no files match this pattern", file=str(pattern))
    for before, after in itertools.pairwise(sorted(found)):
        if after != before + 1:
            raise SourceError(
                f"lacks its file number {before + 1}, between {found[before].name} and {found[after].name}",
                file=str(pattern),
            )
    return tuple(found[number] for number in sorted(found))


def _runs_on(found: Mapping[int, Path], other: Mapping[int, Path]) -> bool:
    return bool(found) and (min(other) == max(found) + 1 or max(other) == min(found) - 1)


def _numbered(pattern: Path, folder: Path) -> dict[int, Path]:
    """The files in one folder that a pattern stands for, by number."""
    head, _, rest = pattern.name.partition("#")
    shape = re.compile(re.escape(head) + r"(\d+)" + re.escape(rest.lstrip("#")))
    found: dict[int, Path] = {}
    try:
        for name in sorted(os.listdir(folder)):
            match = shape.fullmatch(name)
            if match:
                number = int(match[1])
                if number in found:
                    raise SourceError(
                        f"has two files of number {number}: {found[number].name} and {name}",
                        file=str(folder / pattern.name),
                    )
                found[number] = folder / name
    except OSError as error:
        raise from_os(error, folder, reading=True) from None
    return found


def joined(pattern: Path, parts: Sequence[Facts]) -> Facts:
    """One original of several files.

    SourceError where a file has no timecode, is of another kind than the first, is of variable rate, or does
    not begin at the label after the last of the one before: the gap or overlap is named in frames.
    """
    first = parts[0]
    for part in parts:
        if len(parts) > 1 and part.timecode_from == "none":
            raise SourceError("has no timecode, so it cannot be joined into a clip", file=str(part.path))
        if len(parts) > 1 and part.variable_rate:
            raise SourceError("has a variable frame rate, so it cannot be joined", file=str(part.path))
        for name in _ALIKE:
            if getattr(part, name) != getattr(first, name):
                raise SourceError(
                    f"cannot be joined to {first.path.name}: its {name.replace('_', ' ')} is "
                    f"{getattr(part, name)}, not {getattr(first, name)}",
                    file=str(part.path),
                )
        if part.timecode.drop != first.timecode.drop:
            raise SourceError(
                f"cannot be joined to {first.path.name}: one counts drop-frame, the other does not",
                file=str(part.path),
            )
        if [t.channels for t in part.sound] != [t.channels for t in first.sound]:
            raise SourceError(
                f"cannot be joined to {first.path.name}: its sound channels differ", file=str(part.path)
            )
    for before, after in itertools.pairwise(parts):
        due = before.timecode + before.frames
        if after.timecode != due:
            day = due.rate.day(drop=due.drop)
            apart = (after.timecode.frames - due.frames + day // 2) % day - day // 2
            what = f"a gap of {apart} frames" if apart > 0 else f"an overlap of {-apart} frames"
            raise SourceError(
                f"does not run on from {before.path.name}: begins at {after.timecode}, due at {due}, {what}; "
                "list the files one by one",
                file=str(after.path),
            )
    return replace(
        first,
        path=pattern,
        files=tuple(part.path for part in parts),
        parts=tuple(parts),
        frames=sum(part.frames for part in parts),
        bytes=sum(part.bytes for part in parts),
        mtime_ns=max(part.mtime_ns for part in parts),
        interlaced=any(part.interlaced for part in parts),
        warnings=tuple(dict.fromkeys(w for part in parts for w in part.warnings)),
    )
