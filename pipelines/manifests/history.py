"""A history: the generations of one folder's manifests, and what they say together of each file.

Source: ASC Media Hash List, specification v1.0. The first generation that has a file states what it was; a later one adds
hashes only of what it found to be the same. A file that was renamed keeps what was stated under its old name. The latest
generation's ignore patterns hold.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from rushlight.pipelines.manifests.hash_kinds import KINDS
from rushlight.pipelines.manifests.hash_list import FileEntry, HashList, StatedHash
from rushlight.pipelines.manifests.ignore_patterns import DEFAULT, IgnorePatterns

__all__ = ["Expected", "Generation", "History"]


@dataclass(frozen=True, kw_only=True)
class Generation:
    """One manifest: `name` as people are told it. `fault`: why its hashes are not to be used; empty where they are."""

    number: int
    name: str
    hash_list: HashList
    fault: str = ""


@dataclass(frozen=True, kw_only=True)
class Expected:
    """A file as a history has it. `hash` is the one to compare with; without one `fault` says why. `size` in bytes, None if
    it is not stated. `previous`: its first name, where it was renamed."""

    path: str  # relative to the history's folder
    generation: int
    manifest: str
    size: int | None
    hash: StatedHash | None
    fault: str = ""
    previous: str = ""


@dataclass(frozen=True)
class History:
    """The generations of a folder, in order; `folder` relative to the media that are checked, empty for these themselves."""

    folder: str
    generations: tuple[Generation, ...]

    @cached_property
    def files(self) -> Mapping[str, Expected]:
        """What is expected of each file, by its path now."""
        found: dict[str, Expected] = {}
        for generation in self.generations:
            listed = generation.hash_list
            found = _moved(found, _renames(found, listed), generation.fault)
            for entry in listed.files:
                here, before = _stated(entry, generation), found.get(entry.path)
                if before is None:
                    found[entry.path] = here
                elif before.hash is None and here.hash is not None:
                    found[entry.path] = replace(here, previous=before.previous)
        return found

    @cached_property
    def folders(self) -> frozenset[str]:
        """Folders that are expected, by their paths now."""
        found: dict[str, None] = {}
        for generation in self.generations:
            listed = generation.hash_list
            moves = {f.previous: f.path for f in listed.folders if f.previous and f.previous != f.path}
            found = {_under(path, moves): None for path in found} | {f.path: None for f in listed.folders}
        return frozenset(path for path in found if path)

    @cached_property
    def patterns(self) -> IgnorePatterns:
        """Ignore patterns of the latest generation that is as it was made; the standard's own where it states none."""
        sound = [g for g in self.generations if not g.fault]
        stated = sound[-1].hash_list.ignore if sound else None
        return IgnorePatterns(DEFAULT if stated is None else stated)

    def inside(self, path: str) -> str | None:
        """A path of the media relative to this history's folder; None where it lies elsewhere."""
        if not self.folder:
            return path
        head = f"{self.folder}/"
        return path[len(head) :] if path.startswith(head) else None

    def outside(self, path: str) -> str:
        """A path of this history relative to the media."""
        return f"{self.folder}/{path}" if self.folder else path


def _stated(entry: FileEntry, generation: Generation) -> Expected:
    faults = [(stated, generation.fault or stated.fault) for stated in entry.hashes]
    usable = [stated for stated, fault in faults if not fault]
    order = list(KINDS)
    return Expected(
        path=entry.path,
        generation=generation.number,
        manifest=generation.name,
        size=None if generation.fault else entry.size,
        hash=min(usable, key=lambda stated: order.index(stated.kind), default=None),
        fault="" if usable else generation.fault or next((f for _, f in faults), "it has no hash"),
    )


def _renames(found: Iterable[str], listed: HashList) -> dict[str, str]:
    """Where each path of a history is now, by what a generation says of renamed folders and files."""
    folders = {f.previous: f.path for f in listed.folders if f.previous and f.previous != f.path}
    moves = {path: now for path in found if (now := _under(path, folders)) != path} if folders else {}
    return moves | {e.previous: e.path for e in listed.files if e.previous and e.previous != e.path}


def _under(path: str, moves: Mapping[str, str]) -> str:
    """A path after the innermost folder of it that was renamed."""
    if not moves:
        return path
    parts = path.split("/")
    for end in range(len(parts), 0, -1):
        if now := moves.get("/".join(parts[:end])):
            return "/".join([now, *parts[end:]])
    return path


def _moved(found: dict[str, Expected], moves: Mapping[str, str], fault: str) -> dict[str, Expected]:
    """The same under their names now; all at once, so that two files may have changed names with each other. What a manifest with a fault
    renames has no hash to compare with: its word alone says which file it is."""
    if not moves:
        return found
    stay = {path: expected for path, expected in found.items() if path not in moves}
    moved = {
        new: replace(found[old], path=new, previous=found[old].previous or old)
        for old, new in moves.items()
        if old in found
    }
    if fault:
        moved = {path: replace(each, size=None, hash=None, fault=fault) for path, each in moved.items()}
    return stay | moved
