"""The record of grade changes made on set: which grade held when a clip's camera cut.

A record is a CSV with a column `date` (2026-05-04) and either `timecode` with `rate`, jam-synced with the camera, or
`clock` with `utc_offset` (+02:00); optionally `camera` (a letter) and `jammed` (the time of day at which timecode was last
set to the clock, on all devices). Or an EDL: events whose source begins where the grade changed, with ASC CDL comments and
`* DATE:`, `* RATE:`, `* CAMERA:`, `* JAMMED:`. A change holds for its camera, or for all where it names none, until the next.

23.976 and 29.97 non-drop timecode runs 3.6 s an hour behind the clock, and behind 24 and 30, from the moment it was
jammed (SMPTE ST 12-1:2014 clause 5.2.2). With `jammed` that is counted; without, a change counts as before or after a
cut only where it is so whenever the devices were jammed within the 24 hours before: else the clip has no grade from here.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Literal

from rushlight.batch.edl import Event, read_events
from rushlight.batch.grades import Decision, Later
from rushlight.batch.lists import row_grade
from rushlight.batch.tabular import read_table
from rushlight.pipelines.cdl import CDL
from rushlight.pipelines.errors import GradeError, InputError, ListError, TimecodeError
from rushlight.pipelines.texts import read_text
from rushlight.pipelines.timecode import FrameRate, Timecode

__all__ = [
    "Change",
    "ChangeRecord",
    "Rolled",
    "clock_seconds",
    "is_record",
    "read_changes",
    "record_of",
    "together",
    "utc_seconds",
]

DAY = 86400
MOST_SAID = 30  # faults of one file of decisions
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
    ahead: Fraction | None = (
        None  # seconds by which its timecode is ahead; None: as the record's camera has it
    )


@dataclass(frozen=True, kw_only=True)
class _Set:
    """A change against one clip: it was set `least` to `most` seconds after the clip's first frame."""

    change: Change
    least: Fraction
    most: Fraction


class ChangeRecord:
    """All changes, held against clips.

    `utc_offset` (seconds) is of the cameras' timecode; `ahead` says by how many seconds a camera's timecode is ahead;
    `jammed` serves changes that state none.
    """

    def __init__(
        self,
        changes: Iterable[Change],
        *,
        held_at: Literal["cut", "first frame"] = "cut",
        utc_offset: int | None = None,
        ahead: Mapping[str, float] | None = None,
        jammed: int | None = None,
    ) -> None:
        self._changes = tuple(changes)
        self._held_at = held_at
        self._utc_offset = utc_offset
        self._ahead = {k.upper(): Fraction(str(v)) for k, v in (ahead or {}).items()}
        self._jammed = jammed

    def __bool__(self) -> bool:
        return bool(self._changes)

    def decision(self, clip: Rolled) -> Decision | None:
        """The grade that held at the cut (a change at the instant of the cut is after it), or at the first frame.

        None where nothing held yet. GradeError where two changes of one instant differ, where a change lies so near the
        cut that drift decides, or where a clip's timecode and a change cannot be set against each other.
        """
        timed = self._timed(clip)
        end = clip.start.rate.seconds(clip.frames)
        held, rolling, doubtful = [], [], []
        for each in timed:
            first = each.most <= 0
            if first or (self._held_at == "cut" and each.most < end):
                held.append(each)
            elif each.least < end if self._held_at == "cut" else each.least <= 0:
                doubtful.append(each)
            if not first and each.least < end:
                rolling.append(each.change)
        if doubtful:
            raise _too_near(doubtful[0], clip)
        if not held:
            return None
        last = held[-1]
        alike = [s for s in held if s.least == last.least or (_own_drift(s, last) and s.most >= last.least)]
        if len({replace(s.change.cdl, id="") for s in alike}) > 1:
            places = ", ".join(f"{s.change.place} ({s.change.cdl.numbers()})" for s in alike)
            raise GradeError(f"different grades were set at one instant: {places}", key="cdl")
        notes = [
            f"the grade changed while it rolled, at {c.when} ({c.place}: {c.cdl.numbers()})" for c in rolling
        ]
        if -last.most > OLD:
            notes.append(f"its grade was set over 12 hours before it, at {last.change.when}")
        if last.most > last.least:
            notes.append(
                f"its {_counts(clip.start)} timecode drifts from the record by up to "
                f"{float(last.most - last.least):.0f} s; no change lies that near to its cut"
            )
        return Decision(
            cdl=last.change.cdl,
            source=last.change.place,
            reason=f"held at the {self._held_at}, set {last.change.when}",
            warnings=tuple(notes),
            later=self.later(clip),
        )

    def later(self, clip: Rolled) -> tuple[Later, ...]:
        """The changes set in the 12 hours after the cut: candidates for a person, never applied."""
        end = clip.start.rate.seconds(clip.frames)
        return tuple(
            Later(cdl=s.change.cdl, source=s.change.place, when=s.change.when)
            for s in self._timed(clip)
            if end <= s.least < end + OLD
        )

    def _timed(self, clip: Rolled) -> list[_Set]:
        mine = [c for c in self._changes if not c.camera or c.camera.upper() == clip.camera.upper()]
        return sorted((self.after_start(c, clip) for c in mine), key=lambda s: (s.least, s.most))

    def after_start(self, change: Change, clip: Rolled) -> _Set:
        """How long after the clip's first frame a change was set, in seconds; negative where it was before."""
        days = (change.date - clip.date).days
        ahead = self._ahead.get(clip.camera.upper(), Fraction(0)) if clip.ahead is None else clip.ahead
        rate, theirs = clip.start.rate, change.timecode
        jammed = self._jammed if change.jammed is None else change.jammed
        if theirs is not None and _speed(theirs) == _speed(clip.start):
            whole_days = days * rate.seconds(rate.day(drop=clip.start.drop))
            after = whole_days + theirs.rate.seconds(theirs.frames) - rate.seconds(clip.start.frames) + ahead
            return _Set(change=change, least=after, most=after)
        rolled = _moment(clip.start, 0, jammed)
        if theirs is not None:
            was = _moment(theirs, days, jammed)
        elif self._utc_offset is None:
            raise GradeError(
                f"{change.place}: states a clock; the recipe must state the cameras' (changes.utc_offset)",
                key="cdl",
            )
        else:
            clock = days * DAY + change.clock - change.utc_offset + self._utc_offset
            was = clock, clock
        return _Set(change=change, least=was[0] - rolled[1] + ahead, most=was[1] - rolled[0] + ahead)


def _speed(timecode: Timecode) -> Fraction:
    """Seconds of the clock that a second of its labels takes, over a day: 1 at 24, 1.001 at 23.976."""
    return timecode.rate.seconds(timecode.rate.day(drop=timecode.drop)) / DAY


def _moment(timecode: Timecode, days: int, jammed: int | None) -> tuple[Fraction, Fraction]:
    """Between which times of the cameras' clock a label was, in seconds after day 0's midnight: with `jammed` (seconds
    after midnight) the two are one."""
    rate = timecode.rate
    if jammed is None:
        label = days * DAY + rate.seconds(timecode.frames) / _speed(timecode)
        drift = (_speed(timecode) - 1) * DAY
        return label + min(drift, Fraction(0)), label + max(drift, Fraction(0))
    since = timecode.frames - _frames_at(jammed, timecode)
    if since < 0:  # it was jammed the day before
        since += rate.day(drop=timecode.drop)
        days -= 1
    moment = days * DAY + jammed + rate.seconds(since)
    return moment, moment


def _own_drift(one: _Set, other: _Set) -> bool:
    """Whether which of two changes came first depends on when their devices were jammed."""
    speeds = {_speed(s.change.timecode) if s.change.timecode else Fraction(1) for s in (one, other)}
    return len(speeds) > 1


def _too_near(doubtful: _Set, clip: Rolled) -> GradeError:
    change = doubtful.change
    theirs = _counts(change.timecode) if change.timecode else "the clock"
    return GradeError(
        f"{change.place}: was set at {change.when}, too near to say whether before: this clip counts {_counts(clip.start)}, the "
        f"record {theirs}, up to {float(doubtful.most - doubtful.least):.0f} s apart; state `jammed`, when timecode was last set "
        "to the clock (a column of the record, or changes.jammed in the recipe)",
        key="cdl",
    )


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


def read_changes(text: str, *, file: str = "", faults: list[GradeError] | None = None) -> list[Change]:
    """Changes from CSV text. GradeError with file, line and column for all rows that are wrong, or those added to `faults`:
    a missing change would leave the one before it on the clips after it."""
    rows = ((line, values, None) for line, values in read_table(text, GradeError, file=file).values())
    return _changes(rows, file, faults)


def changes_of_events(
    events: Iterable[Event], *, file: str = "", faults: list[GradeError] | None = None
) -> list[Change]:
    """Changes from an EDL's events, each set at its source's first frame. GradeError likewise."""
    rows = ((e.line, {**e.says, "timecode": e.point_in}, e) for e in events)
    return _changes(rows, file, faults)


def _changes(
    rows: Iterable[tuple[int, Mapping[str, str], Event | None]], file: str, faults: list[GradeError] | None
) -> list[Change]:
    found: list[Change] = []
    wrong: list[GradeError] = []
    for line, values, event in rows:
        try:
            if event and event.problem:
                raise event.problem
            cdl = event.grade if event else row_grade(values)
            found.append(_change(values, cdl, f"{file}:{line}"))
        except InputError as error:
            wrong.append(GradeError(error.text, file=file, line=error.line or line, key=error.key))
    if faults is not None:
        faults += wrong
    elif wrong:
        raise together(wrong)
    return found


def together(faults: Sequence[GradeError]) -> GradeError:
    """Several as one: the first, and a line for each of the others."""
    first, *rest = faults
    more = [f"\n{error}" for error in rest[:MOST_SAID]]
    if len(rest) > MOST_SAID:
        more.append(f"\nand {len(rest) - MOST_SAID} more")
    return GradeError(first.text + "".join(more), file=first.file, line=first.line, key=first.key)


def _change(values: Mapping[str, str], cdl: CDL | None, place: str) -> Change:
    if cdl is None:
        raise GradeError("states no numbers; a return to no grade is slope 1 1 1", key="slope")
    try:
        date = datetime.date.fromisoformat(values.get("date", ""))
    except ValueError:
        raise GradeError(f"{values.get('date', '')!r} is no date; write 2026-05-04", key="date") from None
    camera = values.get("camera", "")
    jammed = int(clock_seconds(values["jammed"], "jammed")) if "jammed" in values else None
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
        return Change(cdl=cdl, place=place, date=date, camera=camera, timecode=timecode, jammed=jammed)
    return Change(
        cdl=cdl,
        place=place,
        date=date,
        camera=camera,
        clock=clock_seconds(values["clock"], "clock"),
        utc_offset=utc_seconds(values.get("utc_offset", ""), "utc_offset"),
        jammed=jammed,
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


def record_of(path: Path, faults: list[GradeError] | None = None) -> list[Change] | None:
    """The changes of a file that is a change record; None for any other file. What is wrong is raised, or added to `faults`.

    An EDL is one where no event names a clip and some state date and rate.
    """
    file, kind = str(path), path.suffix.lower()
    if kind == ".edl":
        try:
            events = read_events(read_text(path, GradeError), file=file)
        except ListError as error:
            raise GradeError(error.text, file=file, line=error.line) from None
        named = any(event.name or event.source for event in events)
        dated = any(event.says.keys() >= {"date", "rate"} for event in events)
        return changes_of_events(events, file=file, faults=faults) if dated and not named else None
    if kind not in (".csv", ".tsv"):
        return None
    text = read_text(path, GradeError)
    if not is_record(read_table(text, GradeError, file=file).columns):
        return None
    return read_changes(text, file=file, faults=faults)
