"""Pages from the log: `report/index.html` for people, `batch.json` and `batch.csv` for scripts and spreadsheets.

One folder that opens from the disk, with no network. All text from lists is escaped. Pictures on
pages are small and in sRGB.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from rushlight.batch.cleared_log import read_cleared
from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import Log, latest, not_yet_record, read_log
from rushlight.batch.plan.request_ledger import Day, day_of, read_askings
from rushlight.batch.records.job_record import ClipRecord, DeliveredRecord
from rushlight.batch.records.verdicts import Verdicts, counted_as
from rushlight.batch.report.batch_csv import batch_csv
from rushlight.batch.report.camera_report import write_camera_report
from rushlight.batch.report.kept_results import kept_faults, kept_verdicts
from rushlight.batch.report.made_with import made_on_page
from rushlight.batch.report.needs import OddThing, Shown, exceptions_of, needs_of, sentence
from rushlight.batch.report.next_step import next_step
from rushlight.batch.report.page_clip import PageClip, page_clip, rate_of
from rushlight.batch.report.page_pictures import PICTURES, contact_sheets
from rushlight.batch.report.page_scenes import lost_clip, scenes_of, spanned
from rushlight.batch.report.page_templates import render_page
from rushlight.batch.shown_time import shown_time
from rushlight.batch.verify.colour_check import TOLERANCE
from rushlight.batch.watched_file import read_watched
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.inside_folder import make_folder, unlink, write
from rushlight.pipelines.visible_text import json_text

__all__ = ["write_report"]

LATELY = 60.0  # seconds between a clip's pictures and its record, at most


def write_report(folder: Path, log: Log | None = None) -> Path:
    """Make the report of an output folder anew; gives the page. OptionError where nothing was rendered there. `log` is the
    folder's where it was just read."""
    log = log or read_log(folder)
    known = latest(log.records)
    askings, unread = read_askings(folder)
    day = day_of(askings, known)
    records = [known[e.job] if e.state != "not yet" else not_yet_record(e.job, e.clip) for e in day.entries]
    if not records and not log.refused:
        raise OptionError("has no log/jobs.jsonl: nothing was rendered here", file=str(folder))
    make_folder(folder, PICTURES)
    done = [r for r in records if isinstance(r, DeliveredRecord)]
    media, measured = day.media, kept_verdicts(folder)
    verdicts = {v.job: v for v in measured.clips} if measured else {}
    faults = [_fault(each.name, f"its record does not read: {each.error}") for each in log.refused]
    faults += [_fault("the log", text) for text in (*kept_faults(folder), *unread)]
    faults += [_fault(*fault) for fault in write_camera_report(folder, records, day.title)]
    clips = []
    for record in done:
        try:
            clips.append(page_clip(folder, record, verdicts.get(record.job)))
        except Exception as error:
            faults.append(_fault(record.clip, unexpected(folder, f"showing {record.clip}", error)))
    clips = spanned(clips)
    scenes = scenes_of(clips, [lost_clip(r, day) for r in records if r.status in ("failed", "set aside")])
    in_order = [(c.lines or (c.name,), c.still, c.cell) for scene in scenes for c in scene.takes]
    shown = [
        Shown(c.name, c.anchor, c.checks, c.warnings, c.bad_files, c.damage, c.whole_again) for c in clips
    ]
    watched = read_watched([folder])
    odd = faults + exceptions_of(records, shown, day, watched.cards if watched else ())
    page = render_page(
        "report.html",
        title=day.title.text or folder.name,
        recipe=", ".join(sorted({r.recipe.name for r in done} - {""})) or "none",
        when=shown_time(max((r.finished for r in known.values()), default="")),
        sentence=sentence(day.counts(), odd),
        counts=day.counts(),
        media=media,
        measured=_measured(clips, measured),
        needs=needs_of(odd),
        wrong=sum(c.verdict == "fail" for c in clips),
        scenes=scenes,
        plays=any(c.play for c in clips),
        length=_length(clips),
        sheets=contact_sheets(folder, in_order, "report", day.title.text),
        tolerance=TOLERANCE,
        next_step=next_step,
        made=made_on_page(done),
    )
    _write(folder, "report/index.html", page)
    _tidy(folder, clips)
    _write(folder, "report/batch.json", _batch(folder, records, day))
    _write(folder, "report/batch.csv", batch_csv(records, day.title))
    return folder / "report" / "index.html"


def _write(folder: Path, name: str, text: str) -> None:
    write(folder, name, text.encode("utf-8", "replace"))


def _batch(folder: Path, records: Sequence[ClipRecord], day: Day) -> str:
    """The text of `batch.json`, a line a record; without tiles, which the log keeps for `verify`."""
    lines = ",\n".join(json_text(record.without_tiles()) for record in records)
    rest: dict[str, object] = {
        "counts": day.counts(),
        "media": day.media,
        "dropped": sorted(day.dropped.values()),
    }
    rest |= {"title": day.title.text} if day.title else {}
    if cleared := read_cleared(folder):
        rest["cleared"] = [each.plain() for each in cleared]
    return f'{{"schema": "rushlight-batch-1", "clips": [\n{lines}\n], {json_text(rest)[1:]}'


def _tidy(folder: Path, clips: Sequence[PageClip]) -> None:
    """Remove pictures of clips that are no more, or were made anew; one that a night beside this has just written is of a clip whose
    record comes."""
    used = {
        name for c in clips for name in (c.still, c.strip, c.waveform, c.cell, c.small, c.before, *c.scopes)
    }
    for path in (folder / PICTURES).iterdir():
        if path.name not in used and not path.is_dir():
            with suppress(FileNotFoundError):
                if time.time() - path.lstat().st_mtime > LATELY:
                    unlink(folder, f"{PICTURES}/{path.name}")


def _fault(name: str, text: str) -> OddThing:
    return OddThing(weight="wrong", name=name, text=text, step=next_step(text))


def _length(clips: Sequence[PageClip]) -> str:
    """How long the delivered clips are together: `1 h 2 min`, `12 min 5 s`, `42 s`."""
    seconds = round(sum(clip.frames / rate_of(clip.rate) for clip in clips))
    minutes, rest = divmod(seconds, 60)
    if minutes >= 60:
        return f"{minutes // 60} h {minutes % 60} min"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def _measured(clips: Sequence[PageClip], verdicts: Verdicts | None) -> dict[str, str | int] | None:
    """The last run of `verify`, counted over the clips as they are now; one with damaged frames is among the warnings."""
    if not verdicts:
        return None
    found = [counted_as(c.verdict, c.damage) for c in clips]
    counts = {name: found.count(name) for name in ("pass", "cannot tell", "warn", "fail")}
    return {
        "bare": sum(v == "pass" and not c.grade for v, c in zip(found, clips, strict=True)),
        "when": shown_time(verdicts.measured),
        "since": sum(not c.verdict for c in clips),
        **counts,
    }
