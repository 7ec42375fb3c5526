"""A folder of originals as a clip list: every movie and image sequence in it, card trees as they come."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from rushlight.batch.lists.clip_list import ClipList, Row
from rushlight.batch.lists.find_media import is_system, originals_below
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.originals.probe import MOVIES, RAW, RAW_FRAMES, STILLS

__all__ = ["Found", "find_originals", "read_folder", "read_folders"]


@dataclass(frozen=True, kw_only=True)
class Found:
    """Files found under some folders: `originals` (movies, and sequences as a folder or pattern) in order of
    path; `raw`, which our libraries cannot read (a file a frame as a sequence); and, by folder, the number of
    files that are no pictures or are a system's own."""

    originals: tuple[Path, ...]
    raw: tuple[Path, ...] = ()
    ignored_in: Mapping[str, int] = field(default_factory=dict)

    @property
    def ignored(self) -> int:
        return sum(self.ignored_in.values())


def find_originals(folders: Iterable[Path], *, leave_out: Iterable[Path] = ()) -> Found:
    """Everything under the folders. Hidden and system files are passed over, links to folders not followed.

    A folder that this program wrote (it has `log/jobs.jsonl`) is no place of originals, nor are `leave_out`.
    """
    originals: list[Path] = []
    raw: list[Path] = []
    ignored_in: dict[str, int] = {}
    for place, _, files in originals_below(folders, leave_out):
        stills: list[str] = []
        frames: list[str] = []
        ignored = 0
        for name in files:
            suffix = Path(name).suffix.lower()
            if is_system(name) or _is_device(place / name):
                ignored += 1
            elif suffix in MOVIES:
                originals.append(place / name)
            elif suffix in RAW_FRAMES:
                frames.append(name)
            elif suffix in RAW:
                raw.append(place / name)
            elif suffix in STILLS:
                stills.append(name)
            else:
                ignored += 1
        if stills:
            found, single = _sequences(place, stills)
            originals += found
            ignored += len(single)
        if frames:
            found, single = _sequences(place, frames, alone=not stills)
            raw += sorted([*found, *(place / name for name in single)])
        if ignored:
            ignored_in[str(place.absolute())] = ignored
    return Found(
        originals=tuple(dict.fromkeys(originals)), raw=tuple(dict.fromkeys(raw)), ignored_in=ignored_in
    )


def _is_device(path: Path) -> bool:
    """A pipe, socket or device; a link to nothing is a file that is not readable."""
    try:
        return not path.is_file() and not path.is_symlink()
    except OSError:  # it may not be looked at: a file that is not readable
        return False


def _sequences(folder: Path, names: list[str], *, alone: bool = True) -> tuple[list[Path], list[str]]:
    """The image sequences of one folder: the folder itself where it holds one, patterns where it holds several, or where
    these are not `alone` in it.

    A picture by itself (a camera's thumbnail, a reference still) is no sequence; gives those as well.
    """
    groups: dict[str, list[str]] = {}
    for name in names:
        stem, suffix = os.path.splitext(name)
        head = stem.rstrip("0123456789")
        groups.setdefault(f"{head}#{suffix}", []).append(name)
    whole = {pattern: group for pattern, group in groups.items() if len(group) > 1}
    single = [group[0] for pattern, group in groups.items() if pattern not in whole]
    if len(groups) == 1 and whole and alone:
        return [folder], []
    return [folder / pattern for pattern in sorted(whole)], single


def read_folder(folder: Path) -> ClipList:
    """A list with a row for each original in a folder, in order of path; files that cannot be read are rows with their
    reason. ListError where there is none."""
    return read_folders([folder], base=folder, file=folder)


def read_folders(
    folders: Sequence[Path], *, base: Path, file: Path, leave_out: Iterable[Path] = ()
) -> ClipList:
    """The same of several folders, as the list `file`: clips are named from `base`, those elsewhere by their whole path."""
    found = find_originals(folders, leave_out=leave_out)
    if not found.originals and not found.raw:
        places = "" if [file] == list(folders) else f"{', '.join(map(str, folders)) or 'no folder'}: "
        raise ListError(
            f"{places}holds no original (movies, or numbered DPX, EXR, TIFF or PNG); {counted(found.ignored, 'other file')}",
            file=str(file),
        )
    rows = []
    for line, path in enumerate(sorted({*found.originals, *found.raw}), 1):
        clip = path.relative_to(base).as_posix() if path.is_relative_to(base) else str(path.absolute())
        rows.append(Row(file=str(file), line=line, clip=clip, cells={"clip": clip}))
    warnings = (f"{file}: skipped {counted(found.ignored, 'file')} that a camera did not record",)
    return ClipList(
        file=str(file), rows=tuple(rows), columns=("clip",), warnings=warnings if found.ignored else ()
    )
