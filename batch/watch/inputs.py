"""What a day is planned with beside its cards: grades, lists, tables, sound, the document itself. Taken up once it stands still.

A file counts as changed when its bytes are (of a sound file its ends): saving without a change, or a copy with another time, plans
nothing anew. A folder or file of the day's that was there and is not now is away: planning without it would take grades from
clips that have them, so the day waits until it is back.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import xxhash

from rushlight.batch.lists.find_media import is_system
from rushlight.pipelines.originals.unfinished import is_passing_name

__all__ = ["Inputs"]

Look = Mapping[str, tuple[int, int]]  # bytes and time (ns) by path
WHOLE = 64_000_000  # bytes up to which a file's whole is compared, as text files are read at most
END = 1 << 20  # bytes of each end of a longer one


@dataclass
class Inputs:
    """The files below some paths, looked at again and again. `calm`: seconds for which they must not change to be taken up."""

    calm: float
    digests: dict[str, str] = field(default_factory=dict)  # of what is taken up
    away: list[str] = field(default_factory=list)  # paths that were there and are not
    _seen: Look = field(default_factory=dict)
    _since: float = 0.0
    _taken: Look | None = None  # the look that `digests` is of; None before the first
    _known: set[Path] = field(default_factory=set)  # paths that were there

    @property
    def settled(self) -> bool:
        """True if what stands there is taken up, and nothing of it is being written or away."""
        return self._taken is not None and self._seen == self._taken and not self.away

    def look(self, paths: Iterable[Path], now: float) -> bool:
        """Look once; `now` by a clock that never jumps. True if what stands there, still, differs from what was taken up before."""
        paths = list(paths)
        there = {path for path in paths if _is_there(path)}
        self.away = [str(path) for path in paths if path in self._known and path not in there]
        self._known = (self._known & set(paths)) | there
        if self.away:
            return False
        try:
            found = dict(_files(sorted(there)))
        except OSError:
            return False  # in the middle of a change: the next look tells
        if found != self._seen:
            self._seen, self._since = found, now
        first = self._taken is None
        if found == self._taken or (now - self._since < self.calm and not first):
            return False
        return self._take_up(found, first)

    def _take_up(self, found: Look, first: bool) -> bool:
        try:
            digests = {
                name: self.digests[name]
                if self._taken and self._taken.get(name) == found[name] and name in self.digests
                else _digest(name)
                for name in found
            }
        except OSError:
            return False
        changed = digests != self.digests
        self.digests, self._taken = digests, found
        return changed and not first


def _is_there(path: Path) -> bool:
    """True of a file, and of a folder that holds anything: an empty one may be where a share is mounted."""
    try:
        if path.is_dir():
            with os.scandir(path) as entries:
                return any(not is_system(entry.name) for entry in entries)
        return path.exists()
    except OSError:
        return False


def _files(paths: Iterable[Path]) -> Iterable[tuple[str, tuple[int, int]]]:
    todo = [str(path) for path in paths]
    while todo:
        path = todo.pop()
        if not os.path.isdir(path):
            info = os.stat(path)
            yield path, (info.st_size, info.st_mtime_ns)
            continue
        with os.scandir(path) as entries:
            for entry in entries:
                if entry.is_symlink() or is_system(entry.name) or is_passing_name(entry.name):
                    continue
                todo.append(entry.path)


def _digest(path: str) -> str:
    state, size = xxhash.xxh3_128(), os.stat(path).st_size
    with open(path, "rb", buffering=0) as stream:
        if size <= WHOLE:
            while block := stream.read(END):
                state.update(block)
        else:
            state.update(str(size).encode())
            state.update(stream.read(END))
            stream.seek(size - END)
            state.update(stream.read(END))
    return state.hexdigest()
