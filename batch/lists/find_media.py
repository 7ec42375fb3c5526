"""Clips to files: which original a row means."""

from __future__ import annotations

import os
import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath

from rushlight.batch.lists.equal_copies import alike
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import ListError, SourceError
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.originals.image_sequences import RAW, sequence_files
from rushlight.pipelines.originals.spanned_clips import MOVIES, is_span, span_files
from rushlight.pipelines.portable_name import same_name

__all__ = ["MediaIndex", "files_of", "is_system", "originals_below", "resolve_clip"]

# Folders and files that systems leave behind; common practice, no source.
SYSTEM = {
    "thumbs.db", "desktop.ini", "$recycle.bin", "system volume information", "lost+found", "__macosx",
}  # fmt: skip
_SUFFIXES = sorted(MOVIES | RAW)


@dataclass
class MediaIndex:
    """Files and folders under the --media folders by name, as `same_name` has it; read once, links to folders not followed.

    What this program delivered is left out, as `originals_below` has it.
    """

    folders: Sequence[Path]
    leave_out: Sequence[Path] = ()
    names: dict[str, list[Path]] = field(default_factory=lambda: defaultdict(list))
    read: bool = False

    def find(self, name: str) -> list[Path]:
        """All places of a file or folder of that name."""
        self._read()
        return self.names.get(same_name(name), [])

    def find_movie(self, stem: str) -> list[Path]:
        """All places of movies and camera raw of that name without its extension."""
        self._read()
        name = same_name(stem)
        return [p for suffix in _SUFFIXES for p in self.names.get(name + suffix, ())]

    def find_pattern(self, pattern: str) -> list[Path]:
        """The pattern, in every folder that holds a file it stands for: `#` for digits."""
        self._read()
        head, _, tail = same_name(pattern).partition("#")
        shape = re.compile(re.escape(head) + r"\d+" + re.escape(tail.lstrip("#")))
        places = {p.parent for name, paths in self.names.items() if shape.fullmatch(name) for p in paths}
        return [place / pattern for place in sorted(places)]

    def _read(self) -> None:
        if self.read:
            return
        self.read = True
        for place, inner, files in originals_below(self.folders, self.leave_out):
            for entry in (*files, *inner):
                self.names[same_name(entry)].append(place / entry)


def originals_below(
    folders: Iterable[Path], leave_out: Iterable[Path] = ()
) -> Iterator[tuple[Path, list[str], list[str]]]:
    """Every folder below some, those included, once each, with its folders and files in order. Links to folders are not followed;
    a system's own folders, hidden ones, `leave_out` and what this program wrote (it has `log/jobs.jsonl`) are passed over."""
    avoided = {p.absolute() for p in leave_out}
    seen: set[Path] = set()
    for folder in folders:
        for root, inner, files in os.walk(folder, followlinks=False):
            place = Path(root)
            kept = [n for n in inner if not is_system(n) and (place / n).absolute() not in avoided]
            inner[:] = sorted(n for n in kept if not _is_ours(place / n))
            if place.absolute() in seen:
                inner.clear()  # it lies below a folder that was given as well
                continue
            seen.add(place.absolute())
            beat()
            yield place, list(inner), sorted(files)


def _is_ours(folder: Path) -> bool:
    try:
        return (folder / "log" / "jobs.jsonl").is_file()
    except OSError:  # it may not be looked into
        return False


def is_system(name: str) -> bool:
    """True if a file or folder is hidden, or left behind by a system."""
    return name.startswith(".") or name.lower() in SYSTEM


def resolve_clip(
    clip: str,
    base: Path,
    media: MediaIndex,
    *,
    stem: bool = True,
    tell: Callable[[list[Path]], list[Path]] | None = None,
) -> Path:
    """The original that a row means: relative to the list's folder, then to each --media folder, then a bare name, or the end
    of a path, anywhere under --media.

    `tell` takes the originals of one name and gives those that the rest of the row fits.

    ListError where the path climbs out with `..`, and where a bare name fits several files; SourceError where
    there is none. An absolute path is taken as it is; one with a Windows drive letter, or with nothing there, is looked for under
    --media by its name, and of several originals of that name the one in the folders that the path ends with is meant.
    """
    windows = "\\" in clip and not _there(base / clip)
    parts = PureWindowsPath(clip).parts if windows else PurePosixPath(clip).parts
    if ".." in parts:
        raise ListError(f"{clip!r} leads out of its folder; write it without `..`", key="clip")
    if windows and PureWindowsPath(clip).anchor:
        return _from_a_drive(clip, parts[1:], media)
    relative = Path(*parts) if parts else Path(clip)
    if relative.is_absolute():
        if place := _as_spelled(Path(relative.anchor), relative.relative_to(relative.anchor)):
            return place
        if media.folders:  # mounted elsewhere now: by its name, and as much of its path as fits
            return _from_a_drive(clip, parts[1:], media)
        raise SourceError("there is no such original", file=clip, key="clip")
    for folder in (base, *media.folders):
        if place := _as_spelled(folder, relative):
            return place
    if parts:
        found = _below(parts, media, stem=stem)
        if len(found) > 1 and "#" in relative.name and is_span(found[0]):
            found = _one_span(found)
        alike = found
        if len(found) > 1 and tell:
            found = tell(found)
        if len(found) == 1:
            return found[0]
        if alike and not found:
            places = shortened([str(p) for p in alike])
            raise ListError(
                f"{clip!r} is the name of {len(alike)} originals ({places}), none of which has the row's reel, timecode or range",
                key="clip",
            )
        if found:
            places = shortened([str(p) for p in found])
            raise ListError(
                f"{clip!r} is the name of {len(found)} originals ({places})"
                + (_copies(found) or "; write more of its path, or a reel or timecode that only one has"),
                key="clip",
            )
    looked = ", ".join(dict.fromkeys(str(f) for f in (base, *media.folders)))
    raise SourceError(f"there is no such original; looked in {looked}", file=clip, key="clip")


def _copies(found: list[Path]) -> str:
    """A note that originals of one name are equal copies, where they are."""
    try:
        files = [(path,) if path.is_file() else sequence_files(path)[0] for path in found]
    except SourceError:
        return ""
    how = alike(files)
    return f", {how}: copies; write more of its path, or leave one out of --media" if how else ""


def _one_span(patterns: list[Path]) -> list[Path]:
    """The first of the places of a pattern where all of them together hold one clip, each number once."""
    try:
        whole = span_files(patterns[0], [p.parent for p in patterns])
    except SourceError:
        return patterns
    return patterns[:1] if {f.parent for f in whole} == {p.parent for p in patterns} else patterns


def files_of(path: Path, clip: str, base: Path, media: MediaIndex) -> tuple[Path, ...]:
    """The originals that a row's path leads to: one, or the files of a clip in several, those on other cards too: of
    the same place in the list's folder and each --media folder, and of a bare pattern anywhere below."""
    if not is_span(path):
        return (path,)
    relative = Path(*PurePosixPath(clip.replace("\\", "/")).parts)
    places = [] if relative.is_absolute() else [f / relative.parent for f in (base, *media.folders)]
    if len(relative.parts) == 1:
        places += [p.parent for p in media.find_pattern(path.name)]
    return span_files(path, [p for p in places if p.is_dir()])


def _from_a_drive(clip: str, parts: tuple[str, ...], media: MediaIndex) -> Path:
    wanted = tuple(same_name(p) for p in reversed(parts))
    shared: dict[Path, int] = {}
    for path in media.find(parts[-1]) if parts else ():
        have = tuple(same_name(p) for p in reversed(path.parts))
        differs = (n for n, (a, b) in enumerate(zip(wanted, have, strict=False)) if a != b)
        shared[path] = next(differs, min(len(wanted), len(have)))
    best = [path for path, length in shared.items() if length == max(shared.values())]
    if len(best) == 1:
        return best[0]
    if best:
        places = ", ".join(str(p) for p in best[:4])
        raise ListError(f"{clip!r} fits {len(best)} originals alike ({places}){_copies(best)}", key="clip")
    looked = ", ".join(str(f) for f in media.folders) or "no --media folder"
    raise SourceError(f"there is no original of that name; looked in {looked}", file=clip, key="clip")


def _below(parts: Sequence[str], media: MediaIndex, *, stem: bool) -> list[Path]:
    """Originals anywhere below --media whose path ends in these parts; with any movie's extension where the last has none."""
    name = parts[-1]
    found = media.find_pattern(name) if "#" in name else media.find(name)
    if not found and stem and not Path(name).suffix:
        found = media.find_movie(name)
    above = [same_name(part) for part in parts[:-1]]
    return [p for p in found if not above or [same_name(x) for x in p.parts[:-1]][-len(above) :] == above]


def _as_spelled(folder: Path, relative: Path) -> Path | None:
    """The place of a name below a folder; None where nothing is there.

    A letter and its accent are one code or two (NFC, NFD), and which of them a name has on a disk depends on the system that wrote it: a
    part that is not there as written is looked for by the other spelling. Upper and lower case are told apart."""
    if _there(folder / relative):
        return folder / relative
    if relative.as_posix().isascii():
        return None
    for part in relative.parts:
        place = folder / part
        if not _there(place):
            try:
                names = os.listdir(folder)
            except OSError:
                return None
            wanted = unicodedata.normalize("NFC", part)
            alike = [name for name in names if unicodedata.normalize("NFC", name) == wanted]
            if len(alike) != 1:
                return None
            place = folder / alike[0]
        folder = place
    return folder


def _there(path: Path) -> bool:
    try:
        there = path.exists()
        if there or "#" not in path.name or not path.parent.is_dir():
            return there
        head, _, tail = path.name.partition("#")
        ends = tail.lstrip("#")
        return any(n.startswith(head) and n.endswith(ends) for n in os.listdir(path.parent))
    except (OSError, ValueError):
        return False
