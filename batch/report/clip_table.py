"""Clip table `clips.csv` of a folder of movies: a line a file, by which an editor's project finds every file again.

RFC 4180, UTF-8. Start, end, reel and UMID are the file's own, as it states them; the rest is the record's. What a cell of a
list would have a spreadsheet run has an apostrophe in front, as in `report/batch.csv`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import PurePosixPath
from types import MappingProxyType

from rushlight.batch.lists.camera_columns import camera_letter
from rushlight.batch.plan.in_out import frame_range
from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.original import Source
from rushlight.batch.report.batch_csv import guarded
from rushlight.pipelines.errors import RushlightError, TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.outputs.mxf_packages import umids_of
from rushlight.pipelines.visible_text import visible

__all__ = ["COLUMNS", "TableClip", "clips_by_folder", "clips_csv"]

COLUMNS: Mapping[str, str] = MappingProxyType(
    {
        "clip": "the clip's name: the original's, without its extension",
        "file": "the movie, from the folder that the table lies in, with `/`",
        "reel": "the reel that the file states",
        "start": "timecode of the file's first frame",
        "end": "timecode after its last frame, as an EDL's out",
        "rate": "frames a second: `24`, `23.976` (24000/1001)",
        "duration": "frames in the file",
        "in": "where the list states in or out: the first frame of that range, a timecode; without handles",
        "out": "and the timecode after its last frame",
        "card": "frames of a slate card before the clip's first",
        "umid": "UMID of the clip in the form of RFC 5119: the material package of an MXF",
        "reel_umid": "UMID of the reel: the tape package of an MXF, alike in all files of a reel",
        "scene": "as the list, a table, a name or the sound has it",
        "take": "likewise",
        "camera": "the camera's letter: the list's, else the reel's",
        "circled": "as the list has it",
        "note": "likewise",
        "sound_roll": "roll of the production sound that lies under it",
        "sound_files": "its files, with a space between",
        "state": "`log`, `show` (show transform alone) or `graded`: what of the look is in the pictures",
        "look": "the look in one line",
        "look_digest": "SHA-256 over the look's numbers: alike for the same look",
        "display": "the display that the pictures are made for; empty in `log`",
        "colour_digest": "checksum of the pictures before burn-in and encoding",
        "codec": "by the recipe's name",
        "raster": "`WIDTHxHEIGHT` in pixels",
        "output": "the output of the recipe",
        "revision": "the clip's revision in which the file was made, from 1",
        "hash": "XXH3 of the file, 128 bits, as the manifest has it",
        "original": "the original's file name",
        "original_hash": "`ALGORITHM:HEX` of the original, of its ends or of all of it, as the record has it",
        "production": "the day's title, or what the row says of it",
        "day": "likewise",
        "unit": "likewise",
    }
)


@dataclass(frozen=True, kw_only=True)
class TableClip:
    """A delivered movie and the record of its clip, with what a table says of both."""

    record: JobRecord
    entry: DeliveredMovie
    title: DayTitle = NO_TITLE

    @property
    def name(self) -> str:
        """Name of the clip; of records of older versions, the file's."""
        return self.entry.clip_name or PurePosixPath(self.entry.path).stem

    @property
    def file(self) -> str:
        """Path from the folder that the table lies in."""
        return self.entry.path.partition("/")[2]

    @cached_property
    def start(self) -> Timecode:
        """Timecode of the file's first frame."""
        return Timecode.parse(self.entry.first_timecode, FrameRate.parse(self.entry.rate))

    @property
    def has_timecode(self) -> bool:
        """False in a damaged record: the log's readers look at the timecodes of delivered clips alone."""
        try:
            return bool(self.start)
        except TimecodeError:
            return False

    @cached_property
    def used(self) -> tuple[int, int] | None:
        """First frame in the file, and number of frames, of the range that the row states; None where it states none, or
        none that the original has."""
        row, record = self.record.row or {}, self.record
        row_in, row_out = row.get("in", ""), row.get("out", "")
        if not (row_in or row_out) or not record.first_timecode:
            return None
        last = record.first_frame + record.frames  # of the original, after the delivered range
        frames = max(last, (record.source or Source()).frames)
        try:
            begin = Timecode.parse(record.first_timecode, self.start.rate) + -record.first_frame
            first, count, _ = frame_range(row_in, row_out, start=begin, frames=frames)
        except RushlightError:
            return None
        end = min(first + count, last)
        first = max(first, record.first_frame)
        return (first - record.first_frame + self.entry.card, end - first) if end > first else None

    @property
    def colour_digest(self) -> str:
        pictures = self.record.colour.pictures
        return next((p.digest for p in pictures if self.entry.output in p.outputs), "")

    def cells(self) -> dict[str, str | int]:
        """Its cells by column, in the order of `COLUMNS`."""
        record, entry, used = self.record, self.entry, self.used
        row, look, source = record.row or {}, record.look_of(entry), record.source or Source()
        sound, title = record.sound, self.title.overruled(record.row or {})
        return {
            "clip": self.name,
            "file": self.file,
            "reel": entry.reel,
            "start": str(self.start),
            "end": str(self.start + entry.frames),
            "rate": str(self.start.rate),
            "duration": entry.frames,
            "in": str(self.start + used[0]) if used else "",
            "out": str(self.start + used[0] + used[1]) if used else "",
            "card": entry.card,
            "umid": entry.umid,
            "reel_umid": umids_of("", entry.reel).reel if entry.umid else "",
            **{name: row.get(name, "") for name in ("scene", "take")},
            "camera": camera_letter(row.get("camera", ""), entry.reel),
            **{name: row.get(name, "") for name in ("circled", "note")},
            "sound_roll": sound.roll if sound else "",
            "sound_files": " ".join(sound.file_names) if sound else "",
            "state": entry.state,
            "look": look.description,
            "look_digest": look.digest,
            "display": entry.display or "",
            "colour_digest": self.colour_digest,
            "codec": entry.codec,
            "raster": f"{entry.width}x{entry.height}",
            "output": entry.output,
            "revision": entry.revision,
            "hash": entry.hash,
            "original": source.path.replace("\\", "/").rpartition("/")[2],
            "original_hash": source.hash,
            "production": title.production,
            "day": title.day,
            "unit": title.unit,
        }


def clips_by_folder(
    records: Iterable[JobRecord], title: DayTitle = NO_TITLE
) -> dict[str, tuple[TableClip, ...]]:
    """The delivered movies of records by the top folder that they lie in, each folder's by reel, start and file; `title` is
    their day's. A damaged record, whose timecode is none, costs its own line."""
    found: dict[str, list[TableClip]] = {}
    for record in records:
        for entry in record.outputs:
            if isinstance(entry, DeliveredMovie):
                clip = TableClip(record=record, entry=entry, title=title)
                if clip.has_timecode:
                    found.setdefault(entry.path.partition("/")[0], []).append(clip)
    return {
        folder: tuple(sorted(clips, key=lambda c: (c.entry.reel, c.start.frames, c.entry.path)))
        for folder, clips in sorted(found.items())
    }


def clips_csv(clips: Sequence[TableClip]) -> str:
    """The table of one folder's movies."""
    with io.StringIO(newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(COLUMNS)
        for clip in clips:
            cells = clip.cells()
            assert tuple(cells) == tuple(COLUMNS)
            writer.writerow([_shown(cell) for cell in cells.values()])
        return stream.getvalue()


def _shown(cell: str | int) -> str | int:
    return visible(guarded(cell), lines=True) if isinstance(cell, str) else cell
