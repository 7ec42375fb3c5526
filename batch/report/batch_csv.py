"""`report/batch.csv`: one line a clip for a spreadsheet, as RFC 4180 has it (CRLF, quotes doubled).

Text that a spreadsheet would take for a formula (it begins with `=`, `+`, `-`, `@`, a tab or a carriage return) gets an
apostrophe in front; numbers, negative ones too, stay numbers, and an empty cell is empty.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping
from typing import Any

from rushlight.batch.lists.camera_columns import camera_letter
from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.visible_text import visible

__all__ = ["COLUMNS", "batch_csv", "cells_of", "guarded"]

COLUMNS = (
    *("clip", "status", "scene", "take", "camera", "circled", "reel"),
    *("first_timecode", "last_timecode", "frames", "rate", "seconds", "sound"),
    *("look", "show_lut", "grade_source", "colour_digest", "approved_by", "approved_at"),
    *("original", "files", "warnings", "error"),
)
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")


def batch_csv(records: Iterable[Mapping[str, Any]]) -> str:
    """The records (as the log has them) as CSV text."""
    with io.StringIO(newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(COLUMNS)
        for record in records:
            cells = cells_of(record)
            writer.writerow([_shown(cells[column]) for column in COLUMNS])
        return stream.getvalue()


def _shown(cell: Any) -> Any:
    return visible(guarded(cell), lines=True) if isinstance(cell, str) else cell


def guarded(cell: Any) -> Any:
    """A cell that no spreadsheet runs: text in the form of a formula with an apostrophe in front."""
    if (
        isinstance(cell, str)
        and cell.startswith(("=", "+", "-", "@", "\t", "\r"))
        and not _NUMBER.fullmatch(cell)
    ):
        return f"'{cell}"
    return cell


def cells_of(record: Mapping[str, Any]) -> dict[str, Any]:
    """A record's cells by column; empty where it does not say."""
    row, look = record.get("row") or {}, record.get("look") or {}
    outputs, reel = record.get("outputs") or (), record.get("reel") or ""
    frames, rate = record.get("frames") or 0, _rate(record.get("rate"))
    luts = [layer["name"] for layer in look.get("layers", ()) if layer["layer"] == "show LUT"]
    return {
        **{
            name: record.get(name, "")
            for name in ("clip", "status", "first_timecode", "last_timecode", "error")
        },
        **{name: row.get(name, "") for name in ("scene", "take", "circled", "approved_by", "approved_at")},
        "camera": camera_letter(row.get("camera", ""), reel),
        "reel": reel,
        "frames": frames,
        "rate": str(rate or ""),
        "seconds": f"{float(rate.seconds(frames)):.3f}" if rate and frames else "",
        "sound": "; ".join(dict.fromkeys(text for entry in outputs if (text := _sound(entry)))),
        "look": look.get("description", ""),
        "show_lut": ", ".join(luts),
        "grade_source": (look.get("grade") or {}).get("source", ""),
        "colour_digest": (record.get("colour") or {}).get("digest", ""),
        "original": (record.get("source") or {}).get("path", ""),
        "files": " ".join(entry["path"] for entry in outputs),
        "warnings": "; ".join(record.get("warnings") or ()),
    }


def _rate(text: Any) -> FrameRate | None:
    try:
        return FrameRate.parse(text)
    except TimecodeError:
        return None


def _sound(entry: Mapping[str, Any]) -> str:
    """The sound that an output carries, such as `editorial: 2 x pcm_s24le 48000 Hz`."""
    tracks = [f"{s['channels']} x {s['codec']} {s['sample_rate']} Hz" for s in entry.get("sound") or ()]
    return f"{entry['output']}: {', '.join(tracks)}" if tracks else ""
