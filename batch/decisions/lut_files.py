"""Show LUTs: each read and checked once, found by path or by name."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.lut_file import (
    LUT_SUFFIXES,
    input_described,
    is_lut_file,
    parse_lut,
    says_narrow_range,
)
from rushlight.pipelines.portable_name import same_name
from rushlight.pipelines.text_files import is_kept, read_bytes

__all__ = ["LutFiles", "ReadLut"]

SAME = 1e-6  # of the signal, by which two files of one LUT may differ
_order = LUT_SUFFIXES.index


@dataclass(frozen=True, kw_only=True)
class ReadLut:
    """A LUT file that was read. `kept` is the file's name in an output folder's inputs."""

    name: str
    digest: str  # of its numbers: `sha256:<hex>`
    kept: str
    described: str = ""  # what the file says in words that it takes
    says_narrow: tuple[tuple[int, str], ...] = ()  # lines by which the file says so: number and text


class LutFiles:
    """Show LUTs. `kept` has their bytes by the name that they are kept under, `described` what they say in words that they take, `places` that name by absolute path, `named` those
    that were found by name under the given files and folders."""

    def __init__(self, places: Iterable[Path] = ()) -> None:
        self._read: dict[Path, ReadLut] = {}
        self.kept: dict[str, bytes] = {}
        self.described: dict[str, str] = {}
        self.places: dict[str, str] = {}
        self.named: dict[Path, None] = {}
        self._known: dict[str, list[Path]] = defaultdict(list)
        for place in places:
            for path in sorted(place.rglob("*")) if place.is_dir() else [place]:
                if is_lut_file(path.name) and not path.name.startswith("."):
                    self._known[same_name(path.name)].append(path)
                    self._known[same_name(path.stem)].append(path)

    def find(self, name: str, base: Path) -> Path:
        """The file that a name means: its path from `base`, with or without its suffix, else a LUT of that name under the given
        places. LutError where different ones are called so."""
        for path in (base / name, *(base / f"{name}{suffix}" for suffix in LUT_SUFFIXES)):
            if path.is_file() or is_kept(path):
                return path
        found = sorted(self._known.get(same_name(name), []), key=lambda path: _order(path.suffix.lower()))
        if any(self._differ(found[0], path) for path in found[1:]):
            some = ", ".join(str(path) for path in found[:4])
            raise LutError(f"{len(found)} different LUTs are called {name!r}: {some}", key="lut")
        if not found:
            return base / name
        self.named[found[0]] = None
        return found[0]

    def _differ(self, one: Path, other: Path) -> bool:
        """True if two files are different LUTs: one LUT may lie there as .cube and as .clf, whose numbers are float32."""
        first, second = self.read(one), self.read(other)
        if first.digest == second.digest:
            return False
        luts = [parse_lut(self.kept[read.kept], file=read.kept) for read in (first, second)]
        values = np.random.default_rng(0).uniform(-0.1, 1.1, (500, 3))
        return bool(np.abs(luts[0].apply(values) - luts[1].apply(values)).max() > SAME)

    def read(self, path: Path) -> ReadLut:
        """A LUT. LutError naming the file, and the line where there is one, where it cannot be read or is none."""
        if path not in self._read:
            data = read_bytes(path, LutError)
            digest = parse_lut(data, file=str(path)).digest()
            kept = f"{digest.partition(':')[2]}{path.suffix.lower()}"
            says = tuple(says_narrow_range(data, file=str(path)))
            described = input_described(data, file=str(path))
            self._read[path] = ReadLut(
                name=path.stem, digest=digest, kept=kept, described=described, says_narrow=says
            )
            self.kept[kept] = data
            self.described[kept] = described
            self.places[str(path.absolute())] = kept
        return self._read[path]
