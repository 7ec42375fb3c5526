"""Every sound file under the sound folders: read as takes, not readable with the reason, or a copy of another.

Files are opened read-only and nothing is written beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.lists.find_media import is_system, originals_below
from rushlight.pipelines.errors import RushlightError, own_fault
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.sound.read_recording import SUFFIXES, read_recording
from rushlight.pipelines.sound.recording import Recording
from rushlight.pipelines.sound.take import Take, takes_of

__all__ = ["SoundFolders", "find_sound"]

AT_ONCE = 8  # headers read side by side: a network's disk answers several as fast as one


@dataclass(frozen=True, kw_only=True)
class SoundFolders:
    """`copies` are files of a take that another folder has as well, each with the file that is used in its place."""

    folders: tuple[Path, ...] = ()
    takes: tuple[Take, ...] = ()
    copies: tuple[tuple[Path, Path], ...] = ()
    unreadable: tuple[tuple[Path, str], ...] = ()

    @property
    def found(self) -> int:
        """Sound files in all."""
        return sum(len(t.files) for t in self.takes) + len(self.copies) + len(self.unreadable)

    def named(self, name: str) -> tuple[Recording, ...]:
        """The files of that name, with or without its ending, or with the end of that path; any case."""
        wanted = tuple(part.lower() for part in Path(name.replace("\\", "/")).parts)
        if not wanted:
            return ()

        def fits(path: Path) -> bool:
            parts = [part.lower() for part in path.absolute().parts]
            above = list(wanted[:-1])
            return wanted[-1] in (parts[-1], path.stem.lower()) and parts[-1 - len(above) : -1] == above

        return tuple(r for take in self.takes for r in take.files if fits(r.path))

    def take_with(self, recording: Recording) -> Take:
        return next(take for take in self.takes if recording in take.files)


def find_sound(folders: Sequence[Path], *, leave_out: Iterable[Path] = ()) -> SoundFolders:
    """All sound below some folders; what this program wrote, hidden files and links to folders are passed over."""
    paths = [
        place / name
        for place, _, files in originals_below(folders, leave_out)
        for name in files
        if Path(name).suffix.lower() in SUFFIXES and not is_system(name)
    ]
    read: list[Recording] = []
    unreadable: list[tuple[Path, str]] = []
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for path, found in zip(paths, pool.map(_tried(read_recording), paths), strict=True):
            beat()
            if isinstance(found, Recording):
                read.append(found)
            else:
                unreadable.append((path, found.text))
    takes, copies = _without_copies(takes_of(read))
    return SoundFolders(
        folders=tuple(folders), takes=tuple(takes), copies=tuple(copies), unreadable=tuple(unreadable)
    )


def _tried(read: Callable[[Path], Recording]) -> Callable[[Path], Recording | RushlightError]:
    def tried(path: Path) -> Recording | RushlightError:
        try:
            return read(path)
        except Exception as error:
            return own_fault(error, "read", path)

    return tried


def _without_copies(takes: Iterable[Take]) -> tuple[list[Take], list[tuple[Path, Path]]]:
    """The takes without those whose every file lies, by name, size and header, in another folder as well."""
    first: dict[object, Take] = {}
    copies: list[tuple[Path, Path]] = []
    for take in takes:
        key = tuple((r.path.name.lower(), r.bytes, r.time_reference, r.samples, r.tracks) for r in take.files)
        if key in first:
            copies += [(a.path, b.path) for a, b in zip(take.files, first[key].files, strict=True)]
        else:
            first[key] = take
    return list(first.values()), copies
