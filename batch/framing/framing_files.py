"""Framing decision lists by path or by name, each read and checked once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.framing.read_fdl import FramingList, read_fdl
from rushlight.pipelines.errors import FramingError
from rushlight.pipelines.text_files import is_kept

__all__ = ["ClipFdl", "FramingFiles"]


@dataclass(frozen=True, kw_only=True)
class ClipFdl:
    """The list of a clip: `context` is the label of one of its contexts, or the id of a canvas; empty where none is stated. `who`
    names the list for the clip."""

    list: FramingList
    context: str
    who: str

    @property
    def reference(self) -> str:
        """How a cell names it, from anywhere."""
        return str(Path(self.list.file).absolute()) + (f"#{self.context}" if self.context else "")


class FramingFiles:
    """Framing decision lists. `named` are those that were found by name under the given files and folders."""

    def __init__(self, places: Iterable[Path] = ()) -> None:
        self._read: dict[Path, FramingList] = {}
        self.named: dict[Path, None] = {}
        self._known: dict[str, list[Path]] = defaultdict(list)
        for place in places:
            for path in sorted(place.rglob("*")) if place.is_dir() else [place]:
                if path.suffix.lower() == ".fdl" and not path.name.startswith("."):
                    self._known[path.name.lower()].append(path)
                    self._known[path.stem.lower()].append(path)

    def find(self, name: str, base: Path) -> Path:
        """The file that a name means: its path from `base`, with or without `.fdl`, else a list of that name under the given
        places. FramingError where several are called so."""
        for path in (base / name, base / f"{name}.fdl"):
            if path.is_file() or is_kept(path):
                return path
        found = list(dict.fromkeys(self._known.get(name.lower(), [])))
        if len(found) > 1:
            some = ", ".join(str(path) for path in found[:4])
            raise FramingError(f"{len(found)} framing decision lists are called {name!r}: {some}", key="fdl")
        if not found:
            return base / name
        self.named[found[0]] = None
        return found[0]

    def stated(self, reference: str, base: Path, who: str) -> ClipFdl | None:
        """The list that `path` or `path#context` names; None of `none`. FramingError with key `fdl` where it cannot be read or
        is none."""
        name, _, context = reference.partition("#")
        if not name.strip() or name.strip().lower() == "none":
            return None
        path = self.find(name.strip(), base)
        if path not in self._read:
            try:
                self._read[path] = read_fdl(path)
            except FramingError as error:
                raise error.at(key="fdl") from None
        return ClipFdl(list=self._read[path], context=context.strip(), who=who)
