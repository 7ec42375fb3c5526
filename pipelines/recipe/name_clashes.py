"""Clashes of names: which files would meet on a disk that takes upper and lower case, composed and decomposed letters for one.

Pure: paths are text with `/`, from an output's folder. Nothing is renamed here; each clip names the ways that it could go.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from rushlight.pipelines.portable_name import same_name

__all__ = ["Claims", "Met", "Settled", "Wish", "settle"]


@dataclass(frozen=True, kw_only=True)
class Met:
    """A file that cannot have its name, and who has it."""

    path: str
    who: str


@dataclass(frozen=True, kw_only=True)
class Wish:
    """The files that a clip wants: `ways` of naming all of them, the best first. Of a `twin`, one of several clips of one name, the
    first way goes to nobody where two twins want it. Who `holds` the first way's files already is asked first."""

    who: str
    ways: tuple[tuple[str, ...], ...]
    twin: bool = False
    holds: bool = False


@dataclass(frozen=True, kw_only=True)
class Settled:
    """The way that a clip has; None where every way meets another's file. `met`: what the first way met, if it is not that one."""

    way: int | None
    met: Met | None = None


@dataclass
class Claims:
    """Names that are given away: of files, and of the folders above them, which no file may have."""

    files: dict[str, str] = field(default_factory=dict)  # key -> who
    folders: dict[str, str] = field(default_factory=dict)

    def take(self, paths: Iterable[str], who: str) -> None:
        for path in paths:
            file, *above = _keys(path)
            self.files.setdefault(file, who)
            for folder in above:
                self.folders.setdefault(folder, who)

    def met(self, paths: Sequence[str]) -> Met | None:
        """The first of a clip's files that cannot have its name; None where all can."""
        own = Claims()
        for path in paths:
            file, *above = _keys(path)
            for claims in (self, own):
                who = claims.files.get(file) or claims.folders.get(file)
                who = who or next((claims.files[folder] for folder in above if folder in claims.files), None)
                if who:
                    return Met(path=path, who=who)
            own.take([path], "this clip itself")
        return None


def _keys(path: str) -> list[str]:
    """The keys of a file and of each folder above it, from below."""
    parts = same_name(path).split("/")
    return ["/".join(parts[:end]) for end in range(len(parts), 0, -1)]


def settle(wishes: Sequence[Wish], claims: Claims) -> list[Settled]:
    """The way of each clip, in the order given. `claims` has what others hold, and takes up what is given here."""
    wanted = Counter(same_name(path) for wish in wishes if wish.twin for path in wish.ways[0])
    found: dict[int, Settled] = {}
    for index, wish in sorted(enumerate(wishes), key=lambda each: not each[1].holds):
        shared = next((path for path in wish.ways[0] if wish.twin and wanted[same_name(path)] > 1), None)
        first = Met(path=shared, who="another clip of its name") if shared else None
        for way, paths in enumerate(wish.ways):
            if shared and way == 0:
                continue
            met = claims.met(paths)
            if met is None:
                claims.take(paths, wish.who)
                found[index] = Settled(way=way, met=first)
                break
            first = first or met
        else:
            found[index] = Settled(way=None, met=first)
    return [found[index] for index in range(len(wishes))]
