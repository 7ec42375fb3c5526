"""Which colour decision belongs to a clip, from where, and why."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.lists import Row
from rushlight.pipelines.cdl import CDL, parse_cdl
from rushlight.pipelines.errors import GradeError

__all__ = ["Decision", "GradeBook", "GradeFiles", "row_decision"]


@dataclass(frozen=True, kw_only=True)
class Decision:
    """The grade of one clip, the place it was read from, and the reason it is this clip's."""

    cdl: CDL | None
    source: str = ""
    reason: str = ""
    warnings: tuple[str, ...] = ()


NONE = Decision(cdl=None, reason="no decision was found for this clip")


class GradeFiles:
    """Decision files, each read once."""

    def __init__(self) -> None:
        self._read: dict[Path, tuple[CDL, ...]] = {}

    def read(self, path: Path) -> tuple[CDL, ...]:
        """All decisions of a .cc, .ccc or .cdl file. GradeError naming it where it cannot be read."""
        if path not in self._read:
            try:
                data = path.read_bytes()
            except OSError as error:
                raise GradeError(f"cannot be read: {error.strerror}", file=str(path)) from None
            if len(data) > 50_000_000:
                raise GradeError(f"is {len(data)} bytes long: no collection of decisions", file=str(path))
            self._read[path] = parse_cdl(data, file=str(path))
        return self._read[path]

    def named(self, reference: str, base: Path) -> tuple[CDL, str]:
        """The decision of `path` or `path#id`, relative to `base`, and the place it stands at."""
        name, _, ident = reference.partition("#")
        path = base / name.strip()
        found = self.read(path)
        if ident:
            same = [c for c in found if c.id == ident] or [c for c in found if c.id.lower() == ident.lower()]
            if not same:
                known = ", ".join(c.id or "(no id)" for c in found[:8])
                raise GradeError(f"holds no decision {ident!r}; found {known}", file=str(path))
            if any(c != same[0] for c in same):
                raise GradeError(f"holds {len(same)} different decisions of id {ident!r}", file=str(path))
            return same[0], f"{path}#{ident}"
        if len(found) > 1:
            raise GradeError(f"holds {len(found)} decisions; say which with #id", file=str(path))
        return found[0], str(path)


class GradeBook:
    """Decisions given by `--grades`, by id. A clip takes the one whose id is its name or its stem.

    Ids are compared without case; a file extension on either side does not count.
    """

    def __init__(self, paths: Iterable[Path], files: GradeFiles) -> None:
        self._by_id: dict[str, list[tuple[CDL, str]]] = defaultdict(list)
        for path in paths:
            for file in _decision_files(path):
                for cdl in files.read(file):
                    if cdl.id:
                        self._by_id[_key(cdl.id)].append((cdl, f"{file}#{cdl.id}"))

    def decision(self, clip: str, stem: str) -> Decision | None:
        """The decision for a clip; None where no id fits. GradeError where several that differ do."""
        found = next(
            (self._by_id[k] for k in dict.fromkeys((_key(Path(clip).name), _key(stem))) if k in self._by_id),
            None,
        )
        if not found:
            return None
        numbers = {c.numbers() for c, _ in found}
        if len(numbers) > 1:
            places = ", ".join(place for _, place in found)
            raise GradeError(f"{len(numbers)} different decisions bear this clip's name: {places}", key="cdl")
        return Decision(cdl=found[0][0], source=found[0][1], reason="its id is the clip's name")


def _key(name: str) -> str:
    return re.sub(r"\.(mov|mp4|mxf|m4v|avi|mkv|dpx|exr)$", "", name.strip().lower())


def _decision_files(path: Path) -> list[Path]:
    """A decision file, or all that a folder holds, in order of path."""
    if path.is_file():
        return [path]
    return sorted(
        p
        for p in path.rglob("*")
        if p.suffix.lower() in (".cc", ".ccc", ".cdl") and not p.name.startswith(".")
    )


def row_decision(row: Row, files: GradeFiles) -> Decision | None:
    """The decision that the row itself states: numbers, or a file in column `cdl`; None where it states none.

    GradeError where it states both.
    """
    reference = row["cdl"]
    if row.grade is not None and reference:
        raise GradeError(
            "the row states numbers and a file; one of them must go", file=row.file, line=row.line, key="cdl"
        )
    if row.grade is not None:
        return Decision(cdl=row.grade, source=row.place, reason="numbers in the row")
    if reference:
        try:
            cdl, place = files.named(reference, Path(row.file).parent)
        except GradeError as error:
            raise GradeError(str(error), file=row.file, line=row.line, key="cdl") from None
        return Decision(cdl=cdl, source=place, reason="the row names this file")
    return None
