"""CMX 3600 edit decision lists: their events, and those as a clip list: one row an event, with its range and its ASC CDL.

Read here and not by opentimelineio's adapter, which wants one rate for the whole list, mixes no drop and non-drop
events, and refuses a list whose source and record lengths differ by a frame; where it does read a list, a test holds
this to it. An EDL states no rate: `in` and `out` count at the original's own. Source: CMX 3600 as that adapter and
its sample lists have it; ASC CDL v1.2 section 6 for the two comments.

Comments `* DATE:`, `* CAMERA:`, `* RATE:` and `* JAMMED:` are a convention of ours: they say of an event, or ahead of the first
event of all, what columns of those names say of a row.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from rushlight.batch.lists.clip_list import ClipList, Row
from rushlight.pipelines.colour.cdl import CDL, parse_edl_sat, parse_edl_sop
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import GradeError, ListError

__all__ = ["Event", "read_edl", "read_events"]

MAX_LINE = 10_000  # characters
MAX_LINES = 1_000_000
_TIME = r"\d{1,2}:\d{2}:\d{2}[:;.,]\d{2}"
_EVENT = re.compile(
    rf"(?P<number>\d{{1,6}})\s+(?P<reel>\S+)\s+(?P<track>\S+)\s+(?P<edit>\S+)(?:\s+(?P<length>\d+))?"
    rf"\s+(?P<first>{_TIME})\s+(?P<end>{_TIME})\s+{_TIME}\s+{_TIME}"
)
_NUMBERED = re.compile(r"\d+\s+\S+\s+\S+\s+\S")
_NAME = re.compile(r"\*?\s*(?P<which>FROM|TO)\s+CLIP\s+NAME\s*:\s*(?P<name>.+)", re.IGNORECASE)
_SOURCE = re.compile(r"\*?\s*SOURCE\s+FILE\s*:\s*(?P<name>.+)", re.IGNORECASE)
_SAYS = re.compile(r"\*\s*(?P<key>DATE|CAMERA|RATE|JAMMED)\s*:\s*(?P<value>\S.*)", re.IGNORECASE)
_SPEED = re.compile(r"M2\s+\S+\s+(?P<rate>-?[\d.]+)\s+", re.IGNORECASE)
NO_REEL = {"ax", "bl", "black", "unknown"}  # AX: no reel; BL: black; common practice, no source


@dataclass(kw_only=True, eq=False)
class Event:
    """One event as its lines are gathered: its source range, and what its comments say."""

    line: int
    number: int
    reel: str  # as it stands
    track: str
    point_in: str
    point_out: str
    name: str = ""
    source: str = ""
    sop: CDL | None = None
    saturation: float | None = None
    speed: str = ""
    says: dict[str, str] = field(default_factory=dict)  # date, camera, rate, jammed
    problem: ListError | GradeError | None = None

    @property
    def is_picture(self) -> bool:
        return self.track.startswith(("V", "B")) or "/V" in self.track or self.track == "NONE"

    @property
    def named_reel(self) -> str:
        return "" if self.reel.lower() in NO_REEL else self.reel

    @property
    def grade(self) -> CDL | None:
        if self.saturation is None:
            return self.sop
        return replace(self.sop or CDL(), saturation=self.saturation)


def read_events(text: str, *, file: str = "") -> list[Event]:
    """All events in order, sound and black too, with FCM's drop-frame marked in their labels.

    ListError naming the line for a numbered line that is no event, and where there is no event at all.
    """
    events: list[Event] = []
    common: dict[str, str] = {}
    drop = False
    about: Event | None = None
    for number, raw in enumerate(io.StringIO(text.lstrip("\ufeff"), newline=None), 1):
        if number > MAX_LINES:
            raise ListError(f"has more than {MAX_LINES} lines: no EDL", file=file)
        if len(raw) > MAX_LINE:
            raise ListError(
                f"is {len(raw)} characters long, too long for a line of an EDL", file=file, line=number
            )
        line = raw.strip()
        upper = line.upper()
        if upper.startswith("FCM"):
            drop = "NON" not in upper and "DROP" in upper
        elif match := _EVENT.fullmatch(line):
            about = Event(
                line=number,
                number=int(match["number"]),
                reel=match["reel"],
                track=match["track"].upper(),
                point_in=_label(match["first"], drop),
                point_out=_label(match["end"], drop),
                says=dict(common),
            )
            events.append(about)
        elif _NUMBERED.match(line) and re.search(_TIME, line):
            raise ListError(f"is no event that can be read: {line[:80]!r}", file=file, line=number)
        elif about is not None:
            about = _comment(events, about, line, file, number)
        elif match := _SAYS.fullmatch(line):
            common[match["key"].lower()] = match["value"].strip()
    if not events:
        raise ListError("holds no event (number, reel, track, edit and four timecodes)", file=file)
    return events


def _label(text: str, drop: bool) -> str:
    """A timecode, with the `;` of drop-frame where FCM states it and the label does not."""
    head, mark, frames = text[:-3], text[-3], text[-2:]
    return f"{head};{frames}" if drop or mark != ":" else text


def _comment(events: Sequence[Event], about: Event, line: str, file: str, number: int) -> Event:
    """Take a comment up. Gives the event that the next is about: of a transition's two events of one number, FROM CLIP NAME
    is about the first, TO CLIP NAME about the second."""
    try:
        if match := _NAME.fullmatch(line):
            last = events[-1]
            pair = len(events) > 1 and events[-2].number == last.number and events[-2].track == last.track
            about = events[-2] if pair and match["which"].upper() == "FROM" else last
            about.name = about.name or match["name"].strip()
        elif match := _SOURCE.fullmatch(line):
            about.source = match["name"].strip()
        elif match := _SPEED.match(line):
            about.speed = match["rate"]
        elif match := _SAYS.fullmatch(line):
            about.says[match["key"].lower()] = match["value"].strip()
        elif sop := parse_edl_sop(line):
            about.sop = CDL(slope=sop[0], offset=sop[1], power=sop[2])
        elif (saturation := parse_edl_sat(line)) is not None:
            about.saturation = saturation
    except GradeError as error:
        about.problem = about.problem or error.at(file=file, line=number)
    return about


def read_edl(text: str, *, file: str = "") -> ClipList:
    """Rows of an EDL's picture events, in order. ListError where there is no event at all.

    The clip is what its clip name says, else `SOURCE FILE`, else the reel. `in` and `out` are the source's, `out`
    exclusive; FCM says whether they are drop-frame where the label does not. A transition's events are two rows, but for the
    one of no length that only says what is left. Sound events and black are left out. An event whose speed is
    changed, or whose CDL is malformed, is a problem of its row.
    """
    events = read_events(text, file=file)
    pictures = [e for e in events if e.is_picture]
    sounds = len(events) - len(pictures)
    black = [e for e in pictures if e.reel.lower() in ("bl", "black")]
    warnings: list[str] = []
    if sounds or black:
        warnings.append(
            f"{file}: left out {counted(sounds, 'sound event')} and {counted(len(black), 'event')} of black"
        )
    left = [e for e, after in pairwise(events) if e.number == after.number and e.point_in == e.point_out]
    rows = tuple(_row(e, file) for e in pictures if e not in black and e not in left)
    if not rows:
        raise ListError("holds no picture event", file=file)
    columns = (
        "clip",
        "in",
        "out",
        "reel",
        *sorted({key for row in rows for key in row.cells} & {"date", "camera"}),
    )
    return ClipList(file=file, rows=rows, columns=columns, warnings=tuple(warnings))


def _row(event: Event, file: str) -> Row:
    reel = event.named_reel
    name = event.name or event.source or reel
    problem = event.problem
    if not name:
        problem = problem or ListError("names neither clip nor reel", file=file, line=event.line, key="clip")
    elif event.speed:
        problem = problem or ListError(
            f"plays {name} at {event.speed} frames a second (M2); speed changes are not rendered here",
            file=file,
            line=event.line,
            key="in",
        )
    cells = {"clip": name, "in": event.point_in, "out": event.point_out}
    # A reel that begins the clip's name, or that the name begins, says nothing the original does not say better.
    if reel and not (name.lower().startswith(reel.lower()) or reel.lower().startswith(_stem(name).lower())):
        cells["reel"] = reel
    cells |= {key: event.says[key] for key in ("date", "camera") if key in event.says}
    return Row(
        file=file,
        line=event.line,
        clip=name or f"(row {event.line})",
        cells=cells,
        grade=event.grade,
        problem=problem,
    )


def _stem(name: str) -> str:
    return re.sub(r"\.[A-Za-z0-9]{2,4}$", "", name)
