"""Decisions given beside the list, and which of them is a clip's: by name, by reel and timecode, by scene and take.

Names are compared without case and without a file's extension; a name in the style of a camera (`A001C003`,
`A001_C003`) also without its underscore and without what follows it (`A001C003_260504_R1AB`: common practice, no
source), unless both sides have a suffix and they differ: those are two clips. Among decisions of one rank, different numbers are an error for that clip: nothing is guessed.
"""

from __future__ import annotations

import datetime
import difflib
import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from rushlight.batch.decisions.decision import Decision, GradeFiles
from rushlight.batch.decisions.grade_change_files import record_of, together
from rushlight.batch.decisions.grade_changes import Change
from rushlight.batch.lists.clip_list import row_grade
from rushlight.batch.lists.edl import read_edl
from rushlight.batch.lists.list_columns import GRADE_COLUMNS
from rushlight.batch.lists.table_file import read_table
from rushlight.pipelines.colour.aces_metadata import AcesMetadata
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import GradeError, InputError, ListError, TimecodeError
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.heartbeat import beating
from rushlight.pipelines.luts.lut_file import is_lut_file
from rushlight.pipelines.text_files import is_kept, read_text

__all__ = ["Entry", "GradeBook", "Wanted", "camera_name", "plain_name"]

_EXTENSION = re.compile(r"\.(mov|mp4|mxf|m4v|avi|mkv|mts|m2ts|dpx|exr|tif|tiff|png)$", re.IGNORECASE)
_CAMERA = re.compile(r"([a-z]\d{3,4})_?(c\d{3,4})((?:_[0-9a-z]+)*)", re.IGNORECASE)
NAMES = ("id", "clip", "name")
BY_SCENE = "it is for the clip's scene and take"


@dataclass(frozen=True, kw_only=True, eq=False)
class Entry:
    """One decision and what it says of the clip it is for; empty where it is silent. `aces`: the ACES Metadata File it is."""

    cdl: CDL | None  # None where such a file has no grade to apply
    place: str
    aces: AcesMetadata | None = None
    name: str = ""
    reel: str = ""
    first: str = ""  # timecode of its first frame
    end: str = ""  # exclusive; empty: the frame at `first` alone
    date: datetime.date | None = None  # on which that clip was recorded
    scene: str = ""
    take: str = ""


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A clip that needs a decision, and what is known of it."""

    names: tuple[str, ...]
    reel: str
    start: Timecode | None  # of the original's first frame; None where nobody states one
    frames: int
    first: int = 0  # of the frames that the row takes
    count: int | None = None  # None: to the end
    date: datetime.date | None = None  # None where no row states one
    made: datetime.date | None = None  # as its header says: breaks ties, and no more
    scene: str = ""
    take: str = ""


@lru_cache(maxsize=1 << 16)
def plain_name(name: str) -> str:
    """A clip's or decision's name as it is compared: no folder, no extension, lower case, letters composed (NFC)."""
    plain = _EXTENSION.sub("", re.split(r"[/\\]", name.strip())[-1])
    return unicodedata.normalize("NFC", plain).lower()


@lru_cache(maxsize=1 << 16)
def camera_name(name: str) -> str:
    """The reel and clip number of a camera-style name, `a001c003`; empty for any other."""
    match = _CAMERA.fullmatch(plain_name(name))
    return (match[1] + match[2]).lower() if match else ""


def _same_camera_name(entry: str, clip: str) -> bool:
    """True if two names are one camera name, and at most one of them has a suffix or both have the same."""
    ours, theirs = (_CAMERA.fullmatch(plain_name(n)) for n in (entry, clip))
    if not ours or not theirs or camera_name(entry) != camera_name(clip):
        return False
    return len({m[3].lower() for m in (ours, theirs)} - {""}) < 2


class GradeBook:
    """Every decision under some paths: .amf, .cc, .ccc and .cdl files, EDLs with ASC CDL comments, CSV files; or folders of
    them."""

    def __init__(
        self, paths: Iterable[Path], files: GradeFiles, faults: list[GradeError] | None = None
    ) -> None:
        """Reads them all. What is wrong is added to `faults`; where none are taken, it is raised, all of it together."""
        self.changes: list[Change] = []
        self.warnings: list[str] = []
        self._named: dict[str, list[Entry]] = defaultdict(list)
        self._camera: dict[str, list[Entry]] = defaultdict(list)
        self._placed: dict[str, list[Entry]] = defaultdict(list)
        self._scenes: dict[tuple[str, str], list[Entry]] = defaultdict(list)
        found: list[GradeError] = []
        for path in paths:
            for file in beating(_decision_files(path)):
                try:
                    if file != path and _says_nothing(file):
                        self.warnings.append(f"{file} has no column of numbers, so it is left out")
                        continue
                    if (changes := record_of(file, found)) is not None:
                        self.changes += changes
                        continue
                    for entry in self._read(file, files, found):
                        self._file(entry)
                except GradeError as error:
                    found.append(error)
        if faults is not None:
            faults += found
        elif found:
            raise together(found)

    def _read(self, file: Path, files: GradeFiles, faults: list[GradeError]) -> list[Entry]:
        kind = file.suffix.lower()
        if kind == ".edl":
            return _of_edl(read_text(file, GradeError), file, faults)
        if kind in (".csv", ".tsv"):
            return _of_csv(read_text(file, GradeError), file, faults)
        if kind == ".amf":
            aces = files.aces(file)
            names = {plain_name(n): n for n in aces.clip_names or (file.stem,)}
            return [Entry(cdl=aces.cdl, place=str(file), name=name, aces=aces) for name in names.values()]
        cdls = files.read(file)
        alone = file.stem if len(cdls) == 1 else ""  # one decision that says nothing bears its file's name
        found = []
        for cdl, media in zip(cdls, files.media(file), strict=True):
            names = {plain_name(n): n for n in (cdl.id, media) if n} or ({alone: alone} if alone else {})
            place = f"{file}#{cdl.id}" if cdl.id else str(file)
            found += [Entry(cdl=cdl, place=place, name=name) for name in names.values()]
            if not names:
                self.warnings.append(f"{file}: a decision without an id belongs to no clip ({cdl.numbers()})")
        return found

    def _file(self, entry: Entry) -> None:
        if entry.name:
            self._named[plain_name(entry.name)].append(entry)
            if short := camera_name(entry.name):
                self._camera[short].append(entry)
        if entry.first and (entry.reel or entry.name):  # an event without a clip name bears its reel's
            self._placed[(entry.reel or entry.name).lower()].append(entry)
        elif not entry.name:
            self._scenes[entry.scene.lower(), entry.take.lower()].append(entry)

    def decision(self, clip: Wanted, held: Callable[[], Decision | None] = lambda: None) -> Decision | None:
        """The decision for a clip, from the first rank that has any; None where none fits.

        `held` answers for the change record, which is trusted after names and places and before scenes.

        GradeError where a rank holds several that differ.
        """
        names = {plain_name(n) for n in clip.names}
        short = {camera_name(n) for n in clip.names} - {""}
        alike = [
            e
            for n in short
            for e in self._camera.get(n, ())
            if any(_same_camera_name(e.name, c) for c in clip.names)
        ]
        scene, take = clip.scene.lower(), clip.take.lower()
        ranks: tuple[tuple[str, bool, list[Entry]], ...] = (  # why, whether for this one clip, the decisions
            ("its id is the clip's name", True, [e for n in names for e in self._named.get(n, ())]),
            ("its id is the clip's camera name", True, alike),
            (
                "its reel and timecode are the clip's",
                True,
                self._placed.get(clip.reel.lower(), []) if clip.reel and clip.start else [],
            ),
            (
                BY_SCENE,
                False,
                self._scenes.get((scene, take), []) if scene and take else [],
            ),
            ("it is for the clip's scene", False, self._scenes.get((scene, ""), []) if scene else []),
        )
        for reason, for_one_clip, entries in ranks:
            # What was set while a clip was recorded counts more than what is for its whole scene.
            if reason == BY_SCENE and (from_record := held()):
                return from_record
            found = [e for e in entries if _place_fits(e, clip)]
            if not found:
                continue
            if clip.date is None and any(e.date == clip.made for e in found if e.date):
                found = [e for e in found if e.date in (None, clip.made)]
            best = _agreed(found, reason)
            return Decision(
                cdl=best.cdl,
                source=best.place,
                reason=reason,
                for_one_clip=for_one_clip,
                date=best.date,
                aces=best.aces,
            )
        return None


def _agreed(found: list[Entry], reason: str) -> Entry:
    """The decision that all of these are: an ACES Metadata File before others, since it says more. GradeError where they differ:
    in their numbers, or in what is to be done with the picture."""
    if len(found) == 1:
        return found[0]
    aces = [e for e in found if e.aces]
    bare = [e for e in aces if e.aces and not e.aces.looks]  # they have nothing to say of a grade
    stating = [e for e in found if e not in bare] or found
    numbers = {replace(e.cdl, id="", description="") if e.cdl else None for e in stating}
    if len(numbers) > 1 or len({e.aces.pipeline for e in aces if e.aces}) > 1:
        said = [f"{e.place} ({e.cdl.numbers() if e.cdl else 'no grade to apply'})" for e in found]
        places = shortened(said, 6)
        raise GradeError(f"{len(found)} different decisions fit this clip, as {reason}: {places}", key="cdl")
    best = next((e for e in stating if e.aces or e.date), stating[0])
    return replace(best, aces=aces[0].aces) if aces else best


def _place_fits(entry: Entry, clip: Wanted) -> bool:
    """True if a decision's reel, date and timecode, where it states them, are those of the clip.

    A reel that only repeats the decision's name, as some lists have it, is no statement.
    """
    repeats = plain_name(entry.reel) == plain_name(entry.name) or (
        camera_name(entry.reel) != "" and camera_name(entry.reel) == camera_name(entry.name)
    )
    if entry.reel and clip.reel and not repeats and entry.reel.lower() != clip.reel.lower():
        return False
    if entry.date and clip.date and entry.date != clip.date:
        return False
    if not entry.first or clip.start is None:
        return True
    try:
        first = Timecode.parse(_as(entry.first, clip.start.drop), clip.start.rate)
        length = (
            first.until(Timecode.parse(_as(entry.end, clip.start.drop), clip.start.rate)) if entry.end else 1
        )
    except TimecodeError:
        return False  # a timecode of another rate
    if not entry.end:  # one moment: anywhere in the original
        return clip.start.until(first) < clip.frames
    start = clip.start + clip.first  # a range: it touches what the row takes
    count = clip.frames - clip.first if clip.count is None else clip.count
    return start.until(first) < count or first.until(start) < max(length, 1)


def _as(text: str, drop: bool) -> str:
    """A label in the clip's way of counting: decision lists mark drop-frame seldom."""
    return f"{text[:-3]}{';' if drop else ':'}{text[-2:]}"


def _decision_files(path: Path) -> list[Path]:
    """A decision file, or all that a folder holds, in order of path."""
    if path.is_file() or is_kept(path):
        aside = is_lut_file(path.name) or path.suffix.lower() == ".fdl"  # found by name elsewhere
        return [] if aside else [path]
    kinds = (".amf", ".cc", ".ccc", ".cdl", ".edl", ".csv", ".tsv")
    return sorted(
        p for p in path.rglob("*") if p.suffix.lower() in kinds and not p.name.startswith(".") and p.is_file()
    )


def _says_nothing(file: Path) -> bool:
    """True if a CSV in a folder of decisions is something else: a list, a camera report; not a slip in a
    heading."""
    if file.suffix.lower() not in (".csv", ".tsv"):
        return False
    columns = read_table(read_text(file, GradeError), GradeError, file=str(file)).columns
    return not any(difflib.get_close_matches(column, GRADE_COLUMNS, 1, 0.84) for column in columns)


def _of_edl(text: str, file: Path, faults: list[GradeError]) -> list[Entry]:
    found = []
    try:
        rows = read_edl(text, file=str(file)).rows
    except ListError as error:
        raise GradeError(error.text, file=str(file), line=error.line) from None
    for row in rows:
        try:
            if isinstance(row.problem, GradeError):
                raise row.problem
            if row.grade is None:
                continue
            if not row["clip"]:
                raise GradeError(
                    "belongs to no clip: it names neither clip nor reel. A record of grade changes needs * DATE and * RATE"
                )
            entry = Entry(
                cdl=row.grade,
                place=row.place,
                name=row.clip if row.clip != row["reel"] else "",
                reel=row["reel"],
                first=row["in"],
                end=row["out"],
                date=_date(row["date"]),
            )
        except GradeError as error:
            faults.append(error.at(file=str(file), line=row.line))
            continue
        found.append(entry)
    return found


def _of_csv(text: str, file: Path, faults: list[GradeError]) -> list[Entry]:
    """Rows with numbers, and any of: id (or clip, or name), reel, timecode, date, scene, take."""
    table = read_table(text, GradeError, file=str(file))
    if not set(table.columns) & set(GRADE_COLUMNS):
        found = ", ".join(table.columns)[:200]
        raise GradeError(
            f"has no column of numbers (slope, offset, power, saturation); found {found}", file=str(file)
        )
    entries = []
    for line, values in table.values():
        try:
            cdl = row_grade(values)
            if cdl is None:
                continue
            entry = Entry(
                cdl=cdl,
                place=f"{file}:{line}",
                name=next((values[n] for n in NAMES if n in values), ""),
                reel=values.get("reel", ""),
                first=values.get("timecode", ""),
                date=_date(values.get("date", "")),
                scene=values.get("scene", ""),
                take=values.get("take", ""),
            )
            if not (entry.name or (entry.first and entry.reel) or entry.scene):
                raise ListError("belongs to no clip: give an id, or reel and timecode, or scene", key="id")
        except InputError as error:
            faults.append(GradeError(error.text, file=str(file), line=line, key=error.key))
            continue
        entries.append(entry)
    return entries


def _date(text: str) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(text) if text else None
    except ValueError:
        raise GradeError(f"{text!r} is no date; write 2026-05-04", key="date") from None
