"""`report/batch.csv`: one line a clip for a spreadsheet, as RFC 4180 has it (CRLF, quotes doubled).

Text that a spreadsheet would take for a formula (it begins with `=`, `+`, `-`, `@`, a tab or a carriage return) gets an
apostrophe in front; numbers, negative ones too, stay numbers, and an empty cell is empty.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

from rushlight.batch.lists.camera_columns import camera_letter
from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.batch.records.files import DeliveredMovie, OutputFile
from rushlight.batch.records.job_record import ClipRecord
from rushlight.batch.records.look import SomeLook
from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.visible_text import visible

__all__ = ["COLUMNS", "batch_csv", "cells_of", "guarded"]

COLUMNS = (
    *("clip", "status", "scene", "take", "camera", "circled", "reel"),
    *("first_timecode", "last_timecode", "frames", "rate", "seconds", "sound"),
    *("sound_from", "sound_files", "sound_take", "sound_roll"),
    *("look", "show_lut", "grade_source", "colour_digest", "approved_by", "approved_at"),
    *("original", "files", "warnings", "error"),
    *("production", "day", "unit"),
)
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")


def batch_csv(records: Iterable[ClipRecord], title: DayTitle = NO_TITLE) -> str:
    """The records (as the log has them) as CSV text. `title` is their day's; what a row says of that overrules."""
    with io.StringIO(newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(COLUMNS)
        for record in records:
            cells = cells_of(record, title)
            writer.writerow([_shown(cells[column]) for column in COLUMNS])
        return stream.getvalue()


def _shown(cell: str | int) -> str | int:
    return visible(guarded(cell), lines=True) if isinstance(cell, str) else cell


def guarded(text: str) -> str:
    """Text that no spreadsheet runs: in the form of a formula it has an apostrophe in front; a number stays one."""
    formula = text.startswith(("=", "+", "-", "@", "\t", "\r")) and not _NUMBER.fullmatch(text)
    return f"'{text}" if formula else text


def cells_of(record: ClipRecord, title: DayTitle = NO_TITLE) -> dict[str, str | int]:
    """A record's cells by column; empty where it does not say."""
    row, look = record.row or {}, record.look or SomeLook()
    frames, rate, sound = record.frames, _rate(record.rate), record.sound
    luts = [layer.name for layer in look.layers if layer.layer == "show LUT"]
    return {
        "clip": record.clip,
        "status": record.status,
        "first_timecode": record.first_timecode,
        "last_timecode": record.last_timecode,
        "error": record.error,
        **{name: row.get(name, "") for name in ("scene", "take", "circled", "approved_by", "approved_at")},
        "camera": camera_letter(row.get("camera", ""), record.reel),
        "reel": record.reel,
        "frames": frames,
        "rate": str(rate or ""),
        "seconds": f"{float(rate.seconds(frames)):.3f}" if rate and frames else "",
        "sound": "; ".join(dict.fromkeys(text for entry in record.outputs if (text := _sound(entry)))),
        "sound_from": sound.kind if sound else "",
        "sound_files": " ".join(sound.file_names) if sound else "",
        "sound_take": f"{sound.scene} {sound.take}".strip() if sound else "",
        "sound_roll": sound.roll if sound else "",
        "look": look.description,
        "show_lut": ", ".join(luts),
        "grade_source": look.grade.source if look.grade else "",
        "colour_digest": record.colour.digest,
        "original": record.source.path if record.source else "",
        "files": " ".join(entry.path for entry in record.outputs),
        "warnings": "; ".join(record.warnings),
        "production": (ours := title.overruled(row)).production,
        "day": ours.day,
        "unit": ours.unit,
    }


def _rate(text: str) -> FrameRate | None:
    try:
        return FrameRate.parse(text)
    except TimecodeError:
        return None


def _sound(entry: OutputFile) -> str:
    """The sound that an output carries, such as `editorial: 2 x pcm_s24le 48000 Hz`."""
    sound = entry.sound if isinstance(entry, DeliveredMovie) else []
    tracks = [f"{s.channels} x {s.codec} {s.sample_rate} Hz" for s in sound]
    return f"{entry.output}: {', '.join(tracks)}" if tracks else ""
