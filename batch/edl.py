"""CMX 3600 edit decision lists as clip lists: one row an event, with its range and its ASC CDL.

Read here and not by opentimelineio's adapter, which wants one rate for the whole list, mixes no drop and non-drop
events, and refuses a list whose source and record lengths differ by a frame; where it does read a list, a test holds
this to it. An EDL states no rate: `in` and `out` count at the original's own. Source: CMX 3600 as that adapter and
its sample lists have it; ASC CDL v1.2 section 6 for the two comments.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from rushlight.batch.lists import ClipList, Row
from rushlight.pipelines.cdl import CDL, parse_edl_sat, parse_edl_sop
from rushlight.pipelines.errors import GradeError, ListError

__all__ = ["read_edl"]

_TIME = r"\d{1,2}:\d{2}:\d{2}[:;.,]\d{2}"
_EVENT = re.compile(
    rf"(?P<number>\d{{1,6}})\s+(?P<reel>\S+)\s+(?P<track>\S+)\s+(?P<edit>\S+)(?:\s+(?P<length>\d+))?"
    rf"\s+(?P<first>{_TIME})\s+(?P<end>{_TIME})\s+{_TIME}\s+{_TIME}"
)
_NAME = re.compile(r"\*?\s*FROM\s+CLIP\s+NAME\s*:\s*(?P<name>.+)", re.IGNORECASE)
_SOURCE = re.compile(r"\*?\s*SOURCE\s+FILE\s*:\s*(?P<name>.+)", re.IGNORECASE)
_SPEED = re.compile(r"M2\s+\S+\s+(?P<rate>-?[\d.]+)\s+", re.IGNORECASE)
NO_REEL = {"ax", "bl", "black", "unknown"}  # AX: no reel; BL: black; common practice, no source


@dataclass(kw_only=True)
class _Event:
    """One event as its lines are gathered."""

    line: int
    reel: str
    track: str
    point_in: str
    point_out: str
    name: str = ""
    source: str = ""
    sop: CDL | None = None
    saturation: float | None = None
    speed: str = ""
    problem: ListError | GradeError | None = None
    notes: list[str] = field(default_factory=list)


def read_edl(text: str, *, file: str = "") -> ClipList:
    """Rows of an EDL's picture events, in order. ListError where there is no event at all.

    The clip is what `FROM CLIP NAME` says, else `SOURCE FILE`, else the reel. `in` and `out` are the source's, `out`
    exclusive; FCM says whether they are drop-frame where the label does not. A dissolve's two events are two rows.
    Sound events and black are left out. An event whose speed is changed, or whose CDL is malformed, is a problem of
    its row.
    """
    events: list[_Event] = []
    warnings: list[str] = []
    drop = False
    for number, raw in enumerate(text.lstrip("\ufeff").splitlines(), 1):
        line = raw.strip()
        upper = line.upper()
        if upper.startswith("FCM"):
            drop = "NON" not in upper and "DROP" in upper
        elif match := _EVENT.fullmatch(line):
            events.append(
                _Event(
                    line=number,
                    reel=match["reel"],
                    track=match["track"].upper(),
                    point_in=_label(match["first"], drop),
                    point_out=_label(match["end"], drop),
                )
            )
        elif re.match(rf"\d+\s+\S+\s+\S+\s+\S+.*{_TIME}", line):
            raise ListError(f"is no event that can be read: {line[:80]!r}", file=file, line=number)
        elif events:
            _comment(events[-1], line, file, number)
    if not events:
        raise ListError("holds no event (number, reel, track, edit and four timecodes)", file=file)
    pictures = [e for e in events if e.track.startswith(("V", "B")) or "/V" in e.track or e.track == "NONE"]
    sounds = len(events) - len(pictures)
    black = [e for e in pictures if e.reel.lower() in ("bl", "black")]
    if sounds or black:
        warnings.append(f"{file}: {sounds} sound event(s) and {len(black)} of black are left out")
    rows = tuple(_row(e, file) for e in pictures if e not in black)
    if not rows:
        raise ListError("holds no picture event", file=file)
    columns = ("clip", "in", "out", "reel")
    return ClipList(file=file, rows=rows, columns=columns, warnings=tuple(warnings))


def _label(text: str, drop: bool) -> str:
    """A timecode, with the `;` of drop-frame where FCM states it and the label does not."""
    head, mark, frames = text[:-3], text[-3], text[-2:]
    return f"{head};{frames}" if drop or mark != ":" else text


def _comment(event: _Event, line: str, file: str, number: int) -> None:
    try:
        if match := _NAME.fullmatch(line):
            event.name = event.name or match["name"].strip()
        elif match := _SOURCE.fullmatch(line):
            event.source = match["name"].strip()
        elif match := _SPEED.match(line):
            event.speed = match["rate"]
        elif sop := parse_edl_sop(line):
            event.sop = CDL(slope=sop[0], offset=sop[1], power=sop[2])
        elif (saturation := parse_edl_sat(line)) is not None:
            event.saturation = saturation
    except GradeError as error:
        event.problem = event.problem or error.at(file=file, line=number)


def _row(event: _Event, file: str) -> Row:
    grade = event.sop
    if event.saturation is not None:
        grade = replace(grade or CDL(), saturation=event.saturation)
    reel = "" if event.reel.lower() in NO_REEL else event.reel
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
    return Row(
        file=file,
        line=event.line,
        clip=name or f"(row {event.line})",
        cells=cells,
        grade=grade,
        problem=problem,
    )


def _stem(name: str) -> str:
    return re.sub(r"\.[A-Za-z0-9]{2,4}$", "", name)
