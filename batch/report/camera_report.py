"""Camera report of a day, from the records alone: each original by camera and card, with timecode, length, lens and settings.

`report/cameras.csv` is for a spreadsheet (RFC 4180), `report/cameras.html` for people.
Start, end and duration are those of the whole original, whatever was delivered of it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from types import MappingProxyType

from rushlight.batch.cameras.camera_facts import FACT_COLUMNS, recorded_camera_facts
from rushlight.batch.error_log import unexpected
from rushlight.batch.lists.camera_columns import camera_letter
from rushlight.batch.lists.clip_list import is_yes
from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.batch.records.job_record import ClipRecord
from rushlight.batch.report.batch_csv import guarded
from rushlight.batch.report.page_templates import render_page
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import write
from rushlight.pipelines.originals.camera_header import HEADER_FACTS, camera_line
from rushlight.pipelines.visible_text import visible

__all__ = ["COLUMNS", "Shot", "cameras_csv", "cameras_page", "shot_of", "write_camera_report"]

_LIKEWISE = "likewise"
COLUMNS: Mapping[str, str] = MappingProxyType(
    {
        "camera": "the camera's letter: the list's, else the reel's",
        "reel": "reel or card",
        "clip": "clip as the list names it",
        "scene": "as the list, a table, a name or the sound has it",
        "take": _LIKEWISE,
        "circled": "as the list has it",
        "start": "timecode of the original's first frame",
        "end": "timecode after its last frame, as an EDL's out",
        "duration": "frames in the original",
        "seconds": "what they last",
        "rate": "frames a second: `24`, `23.976` (24000/1001)",
        "capture_rate": "frames a second in the camera, where header or list state it",
        **{name: keys.says for name, keys in HEADER_FACTS.items()},
        "said_by": "who states each of these: the list, a table, or the original's header with the key there",
        "note": "as the list, a table or the sound has it",
        "sound_roll": "roll of the production sound that lies under it",
        "status": "done, failed, set aside, withdrawn, not yet: what became of the clip here",
        "original": "path of the original",
        "production": "the day's title, or what the row says of it",
        "day": _LIKEWISE,
        "unit": _LIKEWISE,
    }
)


@dataclass(frozen=True, kw_only=True)
class Shot:
    """An original of the day: its cells by column, and what it is sorted and summed by."""

    cells: Mapping[str, str | int]
    start: int  # frames since midnight
    seconds: Fraction

    def said(self, *names: str) -> str:
        """The cells of these columns that are not empty, with commas between."""
        return ", ".join(str(self.cells[name]) for name in names if self.cells[name] != "")

    @property
    def camera(self) -> str:
        """Name of the camera for a heading: its letter, else what it is, else nothing."""
        letter = self.cells["camera"]
        return f"Camera {letter}" if letter else self.body

    @property
    def body(self) -> str:
        """Make, model and serial number."""
        return camera_line({name: str(cell) for name, cell in self.cells.items()})


def shot_of(record: ClipRecord, title: DayTitle = NO_TITLE) -> Shot:
    """An original as its record has it. `title` is the day's; what the row says of that overrules."""
    row, facts = record.row or {}, recorded_camera_facts(record)
    ours, rate = title.overruled(row), _rate(record.rate)
    frames = record.source.frames if record.source else 0
    start = _start(record, rate)
    cells = {
        **{name: row.get(name, "") for name in ("scene", "take", "circled", "note")},
        "camera": camera_letter(row.get("camera", ""), record.reel),
        "reel": record.reel,
        "clip": record.clip,
        "start": str(start) if start else "",
        "end": str(start + frames) if start and frames else "",
        "duration": frames or "",
        "seconds": f"{float(rate.seconds(frames)):.3f}" if rate and frames else "",
        "rate": str(rate or ""),
        "capture_rate": str(_rate(record.capture_rate or "") or ""),
        **{name: facts[name].value if name in facts else "" for name in FACT_COLUMNS},
        "said_by": "; ".join(f"{name}: {fact.said_by}" for name, fact in facts.items()),
        "sound_roll": record.sound.roll if record.sound else "",
        "status": record.status,
        "original": record.source.path if record.source else "",
        "production": ours.production,
        "day": ours.day,
        "unit": ours.unit,
    }
    return Shot(
        cells={column: cells[column] for column in COLUMNS},
        start=start.frames if start else 0,
        seconds=rate.seconds(frames) if rate else Fraction(0),
    )


def _rate(text: str) -> FrameRate | None:
    try:
        return FrameRate.parse(text)
    except TimecodeError:
        return None


def _start(record: ClipRecord, rate: FrameRate | None) -> Timecode | None:
    """Timecode of the original's first frame, which the delivered range may begin after."""
    try:
        return Timecode.parse(record.first_timecode, rate) + -record.first_frame if rate else None
    except TimecodeError:
        return None


def write_camera_report(
    folder: Path, records: Sequence[ClipRecord], title: DayTitle
) -> list[tuple[str, str]]:
    """Write both into an output folder, anew; gives each clip that could not be shown, with why."""
    shots, faults = [], []
    for record in records:
        try:
            shots.append(shot_of(record, title))
        except Exception as error:
            faults.append((record.clip, unexpected(folder, f"reporting the camera of {record.clip}", error)))
    page, table = cameras_page(shots, title.text or folder.name), cameras_csv(shots)
    write(folder, "report/cameras.html", page.encode("utf-8", "replace"))
    write(folder, "report/cameras.csv", table.encode("utf-8", "replace"))
    return faults


def in_order(shots: Sequence[Shot]) -> list[Shot]:
    """By camera, reel and time; those without a camera last."""
    return sorted(
        shots,
        key=lambda s: (not s.camera, s.camera, str(s.cells["reel"]), s.start, str(s.cells["clip"])),
    )


def cameras_csv(shots: Sequence[Shot]) -> str:
    """The report as CSV text, by camera, reel and time."""
    with io.StringIO(newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(COLUMNS)
        for shot in in_order(shots):
            writer.writerow([_shown(cell) for cell in shot.cells.values()])
        return stream.getvalue()


def _shown(cell: str | int) -> str | int:
    return visible(guarded(cell), lines=True) if isinstance(cell, str) else cell


def cameras_page(shots: Sequence[Shot], title: str) -> str:
    """The report as a page: a part a camera, a table a card."""
    parts = []
    for camera, ours in groupby(in_order(shots), key=lambda s: s.camera):
        members = list(ours)
        bodies = [body for body in dict.fromkeys(s.body for s in members) if body and body != camera]
        cards = [(reel, list(each)) for reel, each in groupby(members, key=lambda s: str(s.cells["reel"]))]
        parts.append(
            {
                "name": camera or "No camera stated",
                "bodies": bodies,
                "sum": _sum(members),
                "cards": [(reel or "no reel", _sum(each), [_line(s) for s in each]) for reel, each in cards],
            }
        )
    return render_page("cameras.html", title=f"Camera report: {title}", sum=_sum(shots), cameras=parts)


def _line(shot: Shot) -> dict[str, object]:
    cells = shot.cells
    capture = cells["capture_rate"]
    return {
        **cells,
        "length": _clock(shot.seconds) if shot.seconds else "",
        "speed": f"{cells['rate']}{f', shot at {capture}' if capture and capture != cells['rate'] else ''}",
        "optics": shot.said("lens", "focal_length"),
        "stop": shot.said("t_stop") or shot.said("aperture"),
        "white": shot.said("wb") + (f", tint {cells['tint']}" if cells["tint"] else ""),
        "delivered": cells["status"] == "done",
        "circled": is_yes(str(cells["circled"])),
    }


def _sum(shots: Sequence[Shot]) -> str:
    whole = sum((shot.seconds for shot in shots), Fraction(0))
    unknown = sum(not shot.seconds for shot in shots)
    length = f", {_clock(whole)}" if whole else ""
    length += (
        f" and {unknown} of unknown length" if whole and unknown else ", length unknown" if unknown else ""
    )
    circled = sum(is_yes(str(shot.cells["circled"])) for shot in shots)
    return f"{counted(len(shots), 'clip')}{length}{f', {circled} circled' if circled else ''}"


def _clock(seconds: Fraction) -> str:
    """Time as `h:mm:ss`, whole seconds."""
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"
