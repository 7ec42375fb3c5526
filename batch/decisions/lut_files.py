"""Show LUTs: each read and checked once, found by path or by name."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

from rushlight.pipelines.colour.cube_lut import parse_cube
from rushlight.pipelines.errors import LutError
from rushlight.pipelines.text_files import is_kept, read_text

__all__ = ["LutFiles"]


class LutFiles:
    """Show LUTs. `texts` keeps their text by digest, `places` their digest by absolute path, `named` those that were found
    by name under the given files and folders."""

    def __init__(self, places: Iterable[Path] = ()) -> None:
        self._read: dict[Path, tuple[str, str]] = {}
        self.texts: dict[str, str] = {}
        self.places: dict[str, str] = {}
        self.named: dict[Path, None] = {}
        self._known: dict[str, list[Path]] = defaultdict(list)
        for place in places:
            for path in sorted(place.rglob("*")) if place.is_dir() else [place]:
                if path.suffix.lower() == ".cube" and not path.name.startswith("."):
                    self._known[path.name.lower()].append(path)
                    self._known[path.stem.lower()].append(path)

    def find(self, name: str, base: Path) -> Path:
        """The file that a name means: its path from `base`, with or without `.cube`, else a LUT of that name under the given
        places. LutError where different ones are called so."""
        for path in (base / name, base / f"{name}.cube"):
            if path.is_file() or is_kept(path):
                return path
        found = self._known.get(name.lower(), [])
        if len({self.read(path)[0] for path in found}) > 1:
            some = ", ".join(str(path) for path in found[:4])
            raise LutError(f"{len(found)} different LUTs are called {name!r}: {some}", key="lut")
        if not found:
            return base / name
        self.named[found[0]] = None
        return found[0]

    def read(self, path: Path) -> tuple[str, str]:
        """Digest and name of a LUT. LutError naming the file where it cannot be read or is none."""
        if path not in self._read:
            text = read_text(path, LutError, errors="replace")  # comments in any encoding
            lut = parse_cube(text, file=str(path))
            digest = lut.digest()
            self._read[path] = digest, path.stem
            self.texts[digest] = text
            self.places[str(path.absolute())] = digest
        return self._read[path]
