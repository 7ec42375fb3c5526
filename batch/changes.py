"""The record of grade changes made on set: which grade held when a clip's camera cut.

A record is a CSV with a column `date` (2026-05-04) and either `timecode` with `rate`, jam-synced with the camera, or
`clock` with `utc_offset` (+02:00); optionally `camera` (a letter) and, beside `clock`, `jammed` (the clock time at which
timecode was last set to the clock). A change holds for its camera, or for all where it names none, until the next.

23.976 and 29.97 non-drop timecode runs 3.6 s an hour behind the clock from the moment it was jammed (SMPTE ST 12-1:2014
clause 5.2.2), so such a clip needs `jammed` to be set against a clock; whole rates and drop-frame do not.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Literal

from rushlight.batch.grades import Decision, grade_text
from rushlight.batch.lists import row_grade
from rushlight.pipelines.cdl import CDL
from rushlight.pipelines.errors import GradeError, InputError, TimecodeError
from rushlight.pipelines.timecode import FrameRate, Timecode

__all__ = [
    "Change",
    "ChangeRecord",
    "Rolled",
    "clock_seconds",
    "is_record",
    "read_changes",
    "record_of",
    "utc_seconds",
]

DAY = 86400
OLD = 12 * 3600  # seconds after which a grade that held is worth a word


@dataclass(frozen=True, kw_only=True)
class Change:
    """One grade from the moment it was set: `timecode` on that date, or `clock` (seconds after midnight UTC+offset)."""

    cdl: CDL
    place: str
    date: datetime.date
    camera: str = ""
    timecode: Timecode | None = None
    clock: Fraction = Fraction(0)
    utc_offset: int = 0  # seconds
    jammed: int | None = None  # seconds after midnight on the camera's clock

    @property
    def when(self) -> str:
        seconds = int(self.clock)
        clock = f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
        return f"{self.date} {self.timecode or clock}"


@dataclass(frozen=True, kw_only=True)
class Rolled:
    """When a camera rolled: the date on which `start` was recorded, and how long. `rate` is that of its timecode."""

    start: Timecode
    date: datetime.date
    frames: int
    camera: str = ""


class ChangeRecord:
    """All changes, held against clips.

    `utc_offset` (seconds) is of the cameras' timecode; `ahead` says by how many seconds a camera's timecode is ahead.
    """

    def __init__(
        self,
        changes: Iterable[Change],
        *,
        held_at: Literal["cut", "first frame"] = "cut",
        utc_offset: int | None = None,
        ahead: Mapping[str, float] | None = None,
    ) -> None:
        self._changes = tuple(changes)
        self._held_at = held_at
        self._utc_offset = utc_offset
        self._ahead = {k.upper(): Fraction(str(v)) for k, v in (ahead or {}).items()}

    def __bool__(self) -> bool:
        return bool(self._changes)

    def decision(self, clip: Rolled) -> Decision | None:
        """The grade that held at the cut (a change at the instant of the cut is after it), or at the first frame.

        None where nothing held yet. GradeError where two changes of one instant differ, or where a clip's timecode and
        a change cannot be set against each other.
        """
        mine = [c for c in self._changes if not c.camera or c.camera.upper() == clip.camera.upper()]
        timed = sorted(((self.after_start(c, clip), c) for c in mine), key=lambda t: t[0])
        end = clip.start.rate.seconds(clip.frames)
        held = [t for t in timed if t[0] <= 0 or (self._held_at == "cut" and t[0] < end)]
        rolling = [c for after, c in timed if 0 < after < end]
        later = next((c for after, c in timed if after >= end), None)
        notes = [
            f"the grade changed while it rolled, at {c.when} ({c.place}: {c.cdl.numbers()})" for c in rolling
        ]
        if not held:
            return None
        last = [c for after, c in held if after == held[-1][0]]
        if len({replace(c.cdl, id="") for c in last}) > 1:
            places = ", ".join(f"{c.place} ({c.cdl.numbers()})" for c in last)
            raise GradeError(f"different grades were set at one instant: {places}", key="cdl")
        if later and later.date == clip.date:
            notes.append(
                f"set after the cut and not used: {later.when} ({later.place}: {later.cdl.numbers()})"
            )
        if -held[-1][0] > OLD:
            notes.append(f"its grade was set over 12 hours before it, at {last[0].when}")
        return Decision(
            cdl=last[0].cdl,
            source=last[0].place,
            reason=f"held at the {self._held_at}, set {last[0].when}",
            warnings=tuple(notes),
        )

    def after_start(self, change: Change, clip: Rolled) -> Fraction:
        """Seconds from the clip's first frame to a change; negative where it was before."""
        rate, drop = clip.start.rate, clip.start.drop
        ahead = self._ahead.get(clip.camera.upper(), Fraction(0))
        if change.timecode is not None:
            theirs = change.timecode.rate
            if (
                theirs.nominal * rate.fraction != rate.nominal * theirs.fraction
                or change.timecode.drop != drop
            ):
                raise GradeError(
                    f"{change.place}: counts {_counts(change.timecode)}, this clip {_counts(clip.start)}; they cannot be compared",
                    key="cdl",
                )
            days = (change.date - clip.date).days * rate.seconds(rate.day(drop=drop))
            return days + theirs.seconds(change.timecode.frames) - rate.seconds(clip.start.frames) + ahead
        if self._utc_offset is None:
            raise GradeError(
                f"{change.place}: states a clock; the recipe must state the cameras' (changes.utc_offset)",
                key="cdl",
            )
        drifts = rate.fraction != rate.nominal and not drop
        if drifts and change.jammed is None:
            raise GradeError(
                f"{change.place}: {rate} timecode drifts from the clock; add a column `jammed`, when it was set",
                key="cdl",
            )
        set_at = change.jammed or 0
        since = clip.start.frames - _frames_at(set_at, clip.start)
        midnight = (change.date - clip.date).days * DAY
        if since < 0:  # it was jammed the day before
            since += rate.day(drop=drop)
            midnight += DAY
        rolled = set_at + rate.seconds(since) - ahead - self._utc_offset
        return midnight + change.clock - change.utc_offset - rolled


def _counts(timecode: Timecode) -> str:
    return f"{timecode.rate}{' drop-frame' if timecode.drop else ''}"


def _frames_at(seconds: int, like: Timecode) -> int:
    """The count of a label hh:mm:ss:00; where drop-frame has none, of the label after it."""
    text = f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    number = like.rate.dropped if like.drop and seconds % 60 == 0 and seconds // 60 % 10 else 0
    return Timecode.parse(f"{text}{';' if like.drop else ':'}{number:02}", like.rate).frames


def is_record(columns: Iterable[str]) -> bool:
    """Whether a CSV with these columns is a change record: a date, a time, and no clip named."""
    names = set(columns)
    return (
        "date" in names and bool(names & {"timecode", "clock"}) and not names & {"clip", "id", "name", "reel"}
    )


def read_changes(text: str, *, file: str = "") -> list[Change]:
    """Changes from CSV text. GradeError with file, line and column for any row that is wrong: a missing change would
    leave the one before it on the clips after it."""
    lines = text.lstrip("\ufeff").splitlines()
    heading = next(
        (n for n, line in enumerate(lines) if line.strip() and not line.startswith("#")), len(lines)
    )
    if heading == len(lines):
        raise GradeError("is empty", file=file)
    delimiter = max(",;\t", key=lines[heading].count)
    reader = csv.reader(io.StringIO("\n".join(lines[heading:]), newline=""), delimiter=delimiter)
    columns: list[str] = []
    found = []
    try:
        for cells in reader:
            if not columns:
                columns = [c.strip().lower().replace(" ", "_") for c in cells]
                continue
            if not any(c.strip() for c in cells) or cells[0].startswith("#"):
                continue
            line = heading + reader.line_num
            values = {c: v.strip() for c, v in zip(columns, cells, strict=False) if v.strip()}
            try:
                found.append(_change(values, f"{file}:{line}"))
            except InputError as error:
                raise GradeError(error.text, file=file, line=line, key=error.key) from None
    except csv.Error as error:
        raise GradeError(f"is no CSV: {error}", file=file) from None
    return found


def _change(values: Mapping[str, str], place: str) -> Change:
    cdl = row_grade(values)
    if cdl is None:
        raise GradeError("states no numbers; a return to no grade is slope 1 1 1", key="slope")
    try:
        date = datetime.date.fromisoformat(values.get("date", ""))
    except ValueError:
        raise GradeError(f"{values.get('date', '')!r} is no date; write 2026-05-04", key="date") from None
    camera = values.get("camera", "")
    if ("timecode" in values) == ("clock" in values):
        raise GradeError("takes either a timecode or a clock", key="timecode")
    if "timecode" in values:
        try:
            rate = FrameRate.parse(values.get("rate", ""))
        except TimecodeError as error:
            raise error.at(key="rate") from None
        try:
            timecode = Timecode.parse(values["timecode"], rate)
        except TimecodeError as error:
            raise error.at(key="timecode") from None
        return Change(cdl=cdl, place=place, date=date, camera=camera, timecode=timecode)
    jammed = clock_seconds(values["jammed"], "jammed") if "jammed" in values else None
    return Change(
        cdl=cdl,
        place=place,
        date=date,
        camera=camera,
        clock=clock_seconds(values["clock"], "clock"),
        utc_offset=utc_seconds(values.get("utc_offset", ""), "utc_offset"),
        jammed=int(jammed) if jammed is not None else None,
    )


def clock_seconds(text: str, key: str) -> Fraction:
    """`hh:mm`, `hh:mm:ss` or `hh:mm:ss.fff` as seconds after midnight. GradeError for anything else."""
    match = re.fullmatch(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d{1,9})?))?", text.strip())
    if not match or int(match[1]) > 23 or int(match[2]) > 59 or float(match[3] or 0) >= 60:
        raise GradeError(f"{text!r} is no clock time; write hh:mm:ss", key=key)
    return int(match[1]) * 3600 + int(match[2]) * 60 + Fraction(match[3] or 0)


def utc_seconds(text: str, key: str) -> int:
    """`+02:00`, `-05:30` or `Z` as seconds. GradeError for anything else, and for nothing."""
    if text.strip().upper() == "Z":
        return 0
    match = re.fullmatch(r"([+-])(\d{1,2}):?(\d{2})", text.strip())
    if not match or int(match[2]) > 14 or int(match[3]) > 59:
        raise GradeError(f"{text!r} is no UTC offset; write +02:00", key=key)
    seconds = int(match[2]) * 3600 + int(match[3]) * 60
    return -seconds if match[1] == "-" else seconds


def record_of(path: Path) -> list[Change] | None:
    """The changes of a file that is a change record; None for any other file."""
    if path.suffix.lower() not in (".csv", ".tsv"):
        return None
    text = grade_text(path)
    heading = next((x for x in text.splitlines() if x.strip() and not x.startswith("#")), "")
    columns = [c.strip().strip('"').lower() for c in re.split(r"[,;\t]", heading)]
    return read_changes(text, file=str(path)) if is_record(columns) else None
