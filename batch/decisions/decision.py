"""A clip's colour decision: which one, from where, and why."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import chain, islice, repeat
from pathlib import Path

from rushlight.batch.decisions.aces_files import referenced_file
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.records.look import Grade
from rushlight.pipelines.colour.aces_ids import encoding_of
from rushlight.pipelines.colour.aces_metadata import (
    AcesLook,
    AcesMetadata,
    AcesTransform,
    parse_aces_metadata,
)
from rushlight.pipelines.colour.camera_encodings import Encoding
from rushlight.pipelines.colour.cdl import CDL, media_of, parse_cdl
from rushlight.pipelines.errors import GradeError, LutError
from rushlight.pipelines.luts.lut_file import parse_lut
from rushlight.pipelines.luts.lut_nodes import AnyLut
from rushlight.pipelines.luts.scene_conversion import encoding_of_lut
from rushlight.pipelines.text_files import read_bytes

__all__ = ["NONE", "Decision", "GradeFiles", "Later", "row_decision"]

MAX_MARKS = 500_000  # a decision has some sixteen tags and an attribute


@dataclass(frozen=True, kw_only=True)
class Later:
    """A grade set after a clip's camera cut: a candidate that is shown and never applied."""

    cdl: CDL
    source: str
    when: str


@dataclass(frozen=True, kw_only=True)
class Decision:
    """The grade of one clip, the place it was read from, and the reason it is this clip's."""

    cdl: CDL | None
    source: str = ""
    reason: str = ""
    warnings: tuple[str, ...] = ()
    later: tuple[Later, ...] = ()
    date: datetime.date | None = None  # on which its clip was recorded, where it says so
    for_one_clip: bool = False  # it names one clip: where two are taken for it, neither may have it
    aces: AcesMetadata | None = None  # the file it was read from says more of the clip's pipeline

    @property
    def record(self) -> Grade | None:
        """The grade as a record has it; None without one."""
        if self.cdl is None:
            return None
        return Grade(
            slope=list(self.cdl.slope),
            offset=list(self.cdl.offset),
            power=list(self.cdl.power),
            saturation=self.cdl.saturation,
            source=self.source,
            reason=self.reason,
        )


NONE = Decision(cdl=None, reason="no decision was found for this clip")


class GradeFiles:
    """Decision files, each read once. `places` are the files and folders that were given: what an ACES Metadata File names lies
    in them or below its own folder, or is not read."""

    def __init__(self, places: Iterable[Path] = ()) -> None:
        self._places = tuple(places)
        self._read: dict[Path, tuple[CDL, ...]] = {}
        self._media: dict[Path, tuple[str, ...]] = {}
        self._aces: dict[Path, AcesMetadata] = {}
        self._luts: dict[Path, AnyLut] = {}
        self._conversions: dict[str, Encoding | None] = {}

    def read(self, path: Path) -> tuple[CDL, ...]:
        """All decisions of a .cc, .ccc or .cdl file. GradeError naming it where it cannot be read."""
        if path not in self._read:
            data = _bytes(path)
            self._read[path] = parse_cdl(data, file=str(path))
            self._media[path] = media_of(data) if path.suffix.lower() == ".cdl" else ()
        return self._read[path]

    def media(self, path: Path) -> tuple[str, ...]:
        """MediaRef of each decision of a .cdl file; empty where it says nothing."""
        return tuple(islice(chain(self._media.get(path, ()), repeat("")), len(self.read(path))))

    def aces(self, path: Path) -> AcesMetadata:
        """An ACES Metadata File, its references to files as paths and grades that lie in other documents read. GradeError naming
        it where it cannot be read, or leads out of the given places."""
        if path not in self._aces:
            found = parse_aces_metadata(_bytes(path), file=str(path))
            looks = tuple(self._look(look, path) for look in found.looks)
            self._aces[path] = replace(found, input=self._placed(found.input, path), looks=looks)
        return self._aces[path]

    def _look(self, look: AcesLook, amf: Path) -> AcesLook:
        if look.applied:
            return look
        look = replace(
            look,
            transform=self._placed(look.transform, amf),
            to_space=self._placed(look.to_space, amf),
            from_space=self._placed(look.from_space, amf),
        )
        if not look.correction:
            return look
        if not (look.transform and look.transform.path):
            raise GradeError(f"names a grade {look.correction!r} and no file that it is in", file=str(amf))
        try:
            cdl, _ = self._one(Path(look.transform.path), look.correction)
        except GradeError as error:
            raise GradeError(f"names the grade {look.correction!r}: {error}", file=str(amf)) from None
        return replace(look, cdl=cdl)

    def _placed(self, transform: AcesTransform | None, amf: Path) -> AcesTransform | None:
        """A transform with the place of the file that it names, where it is to be applied."""
        if transform is None or transform.applied or not transform.file:
            return transform
        return replace(transform, path=str(referenced_file(transform.file, amf, self._places)))

    def converted(self, transform: AcesTransform) -> Encoding | None:
        """The encoding that an input transform or a CDL's space is for, by its id or by what its file does; None for one that is not
        known here. LutError where a file cannot be read."""
        if transform.path and transform.path not in self._conversions:
            self._conversions[transform.path] = encoding_of_lut(self.look_file(Path(transform.path)))
        if transform.path:
            return self._conversions[transform.path]
        return encoding_of(transform.ids[0]) if transform.ids else None

    def look_file(self, path: Path) -> AnyLut:
        """A look file of an ACES Metadata File. LutError naming it where it cannot be read."""
        if path not in self._luts:
            self._luts[path] = parse_lut(read_bytes(path, LutError), file=str(path))
        return self._luts[path]

    def named(self, reference: str, base: Path, reason: str) -> Decision:
        """The decision of `path` or `path#id`, relative to `base`, and the place it stands at."""
        name, _, ident = reference.partition("#")
        path = base / name.strip()
        if path.suffix.lower() != ".amf":
            cdl, place = self._one(path, ident)
            return Decision(cdl=cdl, source=place, reason=reason)
        if ident:
            raise GradeError(f"is an AMF, which holds one look: take #{ident} away", file=str(path))
        aces = self.aces(path)
        return Decision(cdl=aces.cdl, source=str(path), reason=reason, aces=aces)

    def _one(self, path: Path, ident: str) -> tuple[CDL, str]:
        """The only decision of a file, or that of an id, and the place it stands at."""
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


def _bytes(path: Path) -> bytes:
    data = read_bytes(path, GradeError)
    if data.count(b"<") + data.count(b"=") > MAX_MARKS:
        raise GradeError("is far too large for a collection of decisions", file=str(path))
    return data


def row_decision(row: Row, files: GradeFiles) -> Decision | None:
    """The decision that the row itself states: numbers, or a file in column `cdl`; None where it states none.

    GradeError where it states both.
    """
    reference = row["cdl"]
    if row.grade is not None and reference:
        raise GradeError(
            "the row states both numbers and a file; remove one of them",
            file=row.file,
            line=row.line,
            key="cdl",
        )
    if row.grade is not None:
        return Decision(cdl=row.grade, source=row.place, reason="numbers in the row")
    if reference:
        try:
            return files.named(reference, Path(row.file).parent, "the row names this file")
        except GradeError as error:
            raise GradeError(str(error), file=row.file, line=row.line, key="cdl") from None
    return None
