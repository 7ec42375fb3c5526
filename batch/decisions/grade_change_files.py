"""Records of grade changes as files: CSV and EDL.

A CSV has a column `date` (2026-05-04) and either `timecode` with `rate`, jam-synced with the camera, or `clock` with
`utc_offset` (+02:00); optionally `camera` (a letter) and `jammed` (the time of day at which timecode was last set to the clock,
on all devices). An EDL has events whose source begins where the grade changed, with ASC CDL comments and `* DATE:`,
`* RATE:`, `* CAMERA:`, `* JAMMED:`. A change holds for its camera, or for all where it names none, until the next.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path

from rushlight.batch.decisions.grade_changes import Change
from rushlight.batch.lists.clip_list import row_grade
from rushlight.batch.lists.edl import Event, read_events
from rushlight.batch.lists.table_file import read_table
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.errors import GradeError, InputError, ListError, TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.text_files import read_text

__all__ = [
    "changes_of_events",
    "clock_seconds",
    "is_record",
    "read_changes",
    "record_of",
    "together",
    "utc_seconds",
]

MOST_SAID = 30  # faults of one file of decisions


def is_record(columns: Iterable[str]) -> bool:
    """True if a CSV with these columns is a change record: a date, a time, and no clip named."""
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
