"""The record of grade changes made on set: which grade held when a clip's camera cut.

23.976 and 29.97 non-drop timecode runs 3.6 s an hour behind the clock, and behind 24 and 30, from the moment it was
jammed (SMPTE ST 12-1:2014 clause 5.2.2). With `jammed` that is counted; without, a change counts as before or after a
cut only where it is so whenever the devices were jammed within the 24 hours before: else the clip has no grade from here.
"""

from __future__ import annotations

import datetime
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from rushlight.batch.decisions.decision import Decision, Later
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

__all__ = ["Change", "ChangeRecord", "Rolled"]

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
    """Recording time of a clip: the date on which `start` was recorded, and how long the camera rolled.
    `rate` is that of its timecode."""

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


@dataclass(kw_only=True)
class _Line:
    """Changes that are set against clips of one count in one way, in order: each lies between two moments, in seconds."""

    alike: bool  # they count as the clips do
    jammed: int | None
    least: list[Fraction] = field(default_factory=list)
    most: list[Fraction] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)


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
        self._later = {id(c): Later(cdl=c.cdl, source=c.place, when=c.when) for c in self._changes}
        self._known: dict[tuple[str, FrameRate, bool], list[_Line]] = {}

    def __bool__(self) -> bool:
        return bool(self._changes)

    def decision(self, clip: Rolled) -> Decision | None:
        """The grade that held at the cut (a change at the instant of the cut is after it), or at the first frame.

        None where nothing held yet. GradeError where two changes of one instant differ, where a change lies so near the
        cut that drift decides, or where a clip's timecode and a change cannot be set against each other.
        """
        end = clip.start.rate.seconds(clip.frames)
        ends: list[tuple[_Line, int, tuple[Fraction, Fraction]]] = []
        rolling: list[Change] = []
        for line in self._lines(clip):
            first, last = self._began(line, clip)
            started = bisect_right(line.most, first)
            ended = bisect_left(line.least, last + end)
            sure, maybe = (bisect_left(line.most, first + end), ended)
            if self._held_at == "first frame":
                sure, maybe = started, bisect_right(line.least, last)
            if sure < maybe:
                raise _too_near(self._set(line, sure, (first, last)), clip)
            rolling += line.changes[started:ended]
            if sure:
                ends.append((line, sure, (first, last)))
        if not ends:
            return None
        last_set = max(
            (self._set(line, n - 1, began) for line, n, began in ends), key=lambda s: (s.least, s.most)
        )
        alike = []
        for line, n, began in ends:  # what was set at that instant, or may have been
            while n and line.most[n - 1] - began[0] >= last_set.least:
                n -= 1
                found = self._set(line, n, began)
                if found.least == last_set.least or _own_drift(found, last_set):
                    alike.append(found)
        if len({replace(s.change.cdl, id="") for s in alike}) > 1:
            places = ", ".join(f"{s.change.place} ({s.change.cdl.numbers()})" for s in reversed(alike))
            raise GradeError(f"different grades were set at one instant: {places}", key="cdl")
        notes = [
            f"the grade changed while the clip was rolling, at {c.when} ({c.place}: {c.cdl.numbers()})"
            for c in rolling
        ]
        if -last_set.most > OLD:
            notes.append(f"its grade was set over 12 hours before it, at {last_set.change.when}")
        if last_set.most > last_set.least:
            notes.append(
                f"its {_counts(clip.start)} timecode drifts from the record by up to "
                f"{float(last_set.most - last_set.least):.0f} s; no change lies that near to its cut"
            )
        return Decision(
            cdl=last_set.change.cdl,
            source=last_set.change.place,
            reason=f"held at the {self._held_at}, set {last_set.change.when}",
            warnings=tuple(notes),
            later=self.later(clip),
        )

    def later(self, clip: Rolled) -> tuple[Later, ...]:
        """The changes set in the 12 hours after the cut: candidates for a person, never applied."""
        end = clip.start.rate.seconds(clip.frames)
        parts: list[tuple[_Line, Fraction, slice]] = []
        for line in self._lines(clip):
            _, last = self._began(line, clip)
            after = slice(bisect_left(line.least, last + end), bisect_left(line.least, last + end + OLD))
            if after.start < after.stop:
                parts.append((line, last, after))
        if (
            len(parts) == 1
        ):  # a line lies in order; a day's changes for each of many clips are not measured one by one
            line, _, after = parts[0]
            return tuple(self._later[id(change)] for change in line.changes[after])
        found = [
            (least - last, change)
            for line, last, after in parts
            for least, change in zip(line.least[after], line.changes[after], strict=True)
        ]
        found.sort(key=lambda pair: pair[0])
        return tuple(self._later[id(change)] for _, change in found)

    def _lines(self, clip: Rolled) -> list[_Line]:
        """The changes for a clip's camera, as they are set against its count. Made once a camera and count."""
        start, camera = clip.start, clip.camera.upper()
        key = (camera, start.rate, start.drop)
        if key in self._known:
            return self._known[key]
        placed: dict[tuple[bool, int | None, Fraction | None], list[tuple[Fraction, Fraction, Change]]] = {}
        for change in self._changes:
            if change.camera and change.camera.upper() != camera:
                continue
            theirs, day = change.timecode, change.date.toordinal()
            jammed = self._jammed if change.jammed is None else change.jammed
            alike = theirs is not None and _speed(theirs) == _speed(start)
            if theirs is not None:
                least, most = _count(theirs, day) if alike else _moment(theirs, day, jammed)
            elif self._utc_offset is None:
                raise GradeError(
                    f"{change.place}: states a clock; the recipe must state the cameras' (changes.utc_offset)",
                    key="cdl",
                )
            else:
                least = most = day * DAY + change.clock - change.utc_offset + self._utc_offset
            speed = _speed(theirs) if theirs else None
            placed.setdefault((alike, jammed, speed), []).append((least, most, change))
        lines = []
        for (alike, jammed, _), entries in placed.items():
            entries.sort(key=lambda entry: entry[0])
            least_all, most_all, changes = (list(column) for column in zip(*entries, strict=True))
            lines.append(_Line(alike=alike, jammed=jammed, least=least_all, most=most_all, changes=changes))
        self._known[key] = lines
        return lines

    def _began(self, line: _Line, clip: Rolled) -> tuple[Fraction, Fraction]:
        """Between which moments a clip's first frame was, as a line of changes counts."""
        day = clip.date.toordinal()
        began = _count(clip.start, day) if line.alike else _moment(clip.start, day, line.jammed)
        ahead = self._ahead.get(clip.camera.upper(), Fraction(0)) if clip.ahead is None else clip.ahead
        return began[0] - ahead, began[1] - ahead

    @staticmethod
    def _set(line: _Line, n: int, began: tuple[Fraction, Fraction]) -> _Set:
        return _Set(change=line.changes[n], least=line.least[n] - began[1], most=line.most[n] - began[0])


def _speed(timecode: Timecode) -> Fraction:
    """Seconds of the clock that a second of its labels takes, over a day: 1 at 24, 1.001 at 23.976."""
    return timecode.rate.seconds(timecode.rate.day(drop=timecode.drop)) / DAY


def _count(timecode: Timecode, day: int) -> tuple[Fraction, Fraction]:
    """A label on a day as seconds of its own count, twice: good against what counts alike."""
    found = day * DAY * _speed(timecode) + timecode.rate.seconds(timecode.frames)
    return found, found


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
    """True if the order of two changes depends on when their devices were jammed."""
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
