"""Pages from the log: `report/index.html` for people, `batch.json` and `batch.csv` for scripts and spreadsheets.

One folder that opens from the disk, with no network. All text from lists is escaped. Pictures on
pages are small and in sRGB.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import numpy as np

from rushlight.batch.cameras.camera_facts import recorded_camera_facts
from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import Log, latest, not_yet_record, read_log
from rushlight.batch.lists.clip_list import is_yes
from rushlight.batch.plan.request_ledger import Day, day_of, read_askings
from rushlight.batch.records.files import OutputFile, framing_text
from rushlight.batch.records.job_record import ClipRecord, DeliveredRecord, Replaced
from rushlight.batch.records.look import Grade, OtherLook
from rushlight.batch.records.original import facts_text
from rushlight.batch.records.sound import ClipSound, HeardSound
from rushlight.batch.records.verdicts import CheckVerdict, ClipVerdicts, Verdicts
from rushlight.batch.report.batch_csv import batch_csv
from rushlight.batch.report.camera_report import write_camera_report
from rushlight.batch.report.kept_results import kept_faults, kept_verdicts
from rushlight.batch.report.made_with import made_on_page
from rushlight.batch.report.page_pictures import PICTURES, anchor_of, clip_pictures, contact_sheets
from rushlight.batch.report.page_templates import render_page
from rushlight.batch.verify.colour_check import TOLERANCE
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.inside_folder import make_folder, unlink, write
from rushlight.pipelines.measure.sound_lag import WINDOW
from rushlight.pipelines.visible_text import json_text

__all__ = ["write_report"]


Line = tuple[str, str]  # channel, SVG points

# Patches without colour, and the light that they reflect (0 to 1).
_GREYS = {"grey 18 %": 0.18, "white 90 %": 0.9} | {
    name: sum(values) / 3 for name, values in PATCHES.items() if max(values) - min(values) < 0.02
}


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
    faults = [(each.name, f"its record does not read: {each.error}") for each in log.refused]
    faults += [("the log", text) for text in (*kept_faults(folder), *unread)]
    faults += write_camera_report(folder, records, day.title)
    clips = []
    for record in done:
        try:
            clips.append(_clip(folder, record, verdicts.get(record.job)))
        except Exception as error:
            faults.append((record.clip, unexpected(folder, f"showing {record.clip}", error)))
    scenes = _scenes(clips := _spanned(clips))
    in_order = [(c.name, c.still, c.cell) for _, takes in scenes for c in takes]
    page = render_page(
        "report.html",
        title=day.title.text or folder.name,
        recipe=", ".join(sorted({r.recipe.name for r in done} - {""})) or "none",
        when=_clock(max((r.finished for r in known.values()), default="")),
        sums=_sums(day),
        counts=day.counts(),
        media=media,
        measured=_measured(clips, measured),
        exceptions=[("bad", *fault) for fault in faults] + _exceptions(records, clips, day),
        scenes=scenes,
        sheets=contact_sheets(folder, in_order, "report"),
        tolerance=TOLERANCE,
        made=made_on_page(done),
    )
    _write(folder, "report/index.html", page)
    _tidy(folder, clips)
    _write(folder, "report/batch.json", _batch(records, day))
    _write(folder, "report/batch.csv", batch_csv(records, day.title))
    return folder / "report" / "index.html"


def _write(folder: Path, name: str, text: str) -> None:
    write(folder, name, text.encode("utf-8", "replace"))


def _batch(records: Sequence[ClipRecord], day: Day) -> str:
    """The text of `batch.json`, a line a record; without tiles, which the log keeps for `verify`."""
    lines = ",\n".join(json_text(record.without_tiles()) for record in records)
    rest: dict[str, object] = {
        "counts": day.counts(),
        "media": day.media,
        "dropped": sorted(day.dropped.values()),
    }
    rest |= {"title": day.title.text} if day.title else {}
    return f'{{"schema": "rushlight-batch-1", "clips": [\n{lines}\n], {json_text(rest)[1:]}'


def _tidy(folder: Path, clips: Sequence[PageClip]) -> None:
    """Remove pictures of clips that are no more, or were made anew."""
    used = {name for c in clips for name in (c.still, c.strip, c.waveform, c.cell, c.small)}
    for path in (folder / PICTURES).iterdir():
        if path.name not in used and not path.is_dir():
            unlink(folder, f"{PICTURES}/{path.name}")


def _sums(day: Day) -> list[tuple[str, str, str]]:
    counts = day.counts()
    tones = {"delivered": "good", "ungraded": "odd", "set aside": "bad", "failed": "bad", "not yet": "odd"}
    sums = {name: counts[name.replace(" ", "_")] for name in ("listed", *tones)}
    if not sums["not yet"]:
        del sums["not yet"]
    found = ("originals found", str(day.media["found"]) if day.media else "not counted", "")
    return [found, *((name, str(n), tones.get(name, "") if n else "") for name, n in sums.items())]


def _clock(text: str) -> str:
    """`2026-11-26 04:10 UTC` of a record's time; the text itself where it is none."""
    try:
        return datetime.fromisoformat(text).astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")
    except ValueError:
        return text


def _measured(clips: Sequence[PageClip], verdicts: Verdicts | None) -> dict[str, str | int] | None:
    """The last run of `verify`, counted over the clips as they are now."""
    if not verdicts:
        return None
    counts = {name: sum(c.verdict == name for c in clips) for name in ("pass", "cannot tell", "warn", "fail")}
    return {
        "bare": sum(c.verdict == "pass" and not c.grade for c in clips),
        "when": _clock(verdicts.measured),
        "since": sum(not c.verdict for c in clips),
        **counts,
    }


def _exceptions(
    records: Sequence[ClipRecord], clips: Sequence[PageClip], day: Day
) -> list[tuple[str, str, str]]:
    found = [
        ("bad", r.clip, f"{r.status}: {r.error}") for r in records if r.status not in ("done", "not yet")
    ]
    found += [("odd", r.clip, "not made yet") for r in records if r.status == "not yet"]
    found += [("odd", clip, "taken out of the queue by hand, and not made") for clip in day.dropped.values()]
    for entry in day.entries:
        if entry.differs:
            text = f"stands in {' and '.join(entry.lists)} with another range or grade in each; the one read last is used"
            found.append(("odd", entry.clip, text))
    found += [("odd", row.clip, row.text) for row in day.settled.values()]
    for clip in clips:
        for name, check in clip.checks:
            if check.verdict in ("fail", "warn"):
                tone = "bad" if check.verdict == "fail" else "odd"
                found.append((tone, clip.name, f"measured again, {name}: {check.text}"))
    found += [("odd", c.name, text) for c in clips for text in c.warnings]
    if day.media:
        found += [("bad", e["path"], f"not readable: {e['why']}") for e in day.media["unreadable"]]
        found += [
            ("bad", e["path"], "named by a manifest of the offload, and not there")
            for e in day.media["absent"]
        ]
        found += [
            ("odd", name, "an original that no row of a list names") for name in day.media["not_listed"]
        ]
    return found


@dataclass(frozen=True, kw_only=True)
class PageLook:
    """A look of outputs that do not show the recipe's."""

    name: str
    outputs: str
    description: str
    digest: str
    colour: str  # checksum


@dataclass(frozen=True, kw_only=True)
class PageClip:
    """One delivered clip as the page shows it; names of pictures are empty where there is none."""

    anchor: str
    name: str
    scene: str
    take: str
    circled: bool
    approved_by: str
    approved_at: str
    reel: str
    rate: str
    first: str  # timecode
    last: str  # timecode
    frames: int
    grade: Grade | None
    description: str  # of the look
    look_digest: str
    looks: Sequence[PageLook]  # of outputs that do not show that one
    camera: str  # camera, lens and settings in a line; empty where nobody states any
    camera_facts: Sequence[tuple[str, str, str]]  # name, value, who says so
    header: Sequence[tuple[str, str]]  # of the original, by its own keys
    digest: str
    source: str
    files: Sequence[OutputFile]
    waves: Sequence[Line]  # of production sound and the camera's, at the start
    heard_seconds: float  # that they show
    manifest: str  # the original against its manifest; empty where none was given
    framing: str  # what framing decisions make of its outputs; empty without any
    sound: str  # which it is and why; empty where no sound folder was given
    warnings: Sequence[str]
    revision: int
    replaced: Sequence[Replaced]
    curve: Sequence[Line]
    greys: Sequence[Line]
    verdict: str  # of the last `verify`; empty where it was not measured since it was made
    checks: Sequence[tuple[str, CheckVerdict]]
    still: str
    strip: str
    waveform: str
    cell: str
    small: str = ""
    left: float = 0.0  # on the day's line, in hundredths of it
    wide: float = 0.0


def _clip(folder: Path, record: DeliveredRecord, measured: ClipVerdicts | None) -> PageClip:
    row, grade = record.row or {}, record.look.grade
    if measured and measured.made != record.finished:
        measured = None  # it was made anew since
    return PageClip(
        anchor=anchor_of(record),
        name=record.clip,
        scene=row.get("scene", ""),
        take=row.get("take", ""),
        circled=is_yes(row.get("circled", "")),
        approved_by=row.get("approved_by", ""),
        approved_at=row.get("approved_at", ""),
        reel=record.reel,
        rate=record.rate,
        first=record.first_timecode,
        last=record.last_timecode,
        frames=record.frames,
        grade=grade,
        description=record.look.description,
        look_digest=record.look.digest,
        looks=[_look(record, name, look) for name, look in record.looks.items()],
        camera=facts_text(facts := recorded_camera_facts(record)),
        camera_facts=[(name.replace("_", " "), fact.value, fact.said_by) for name, fact in facts.items()],
        header=list(record.source.header.items()),
        digest=record.colour.digest,
        source=record.source.path,
        manifest=record.source.manifest.sentence if record.source.manifest else "",
        files=record.outputs,
        framing=framing_text(record.framing),
        sound=_sound(record.sound),
        waves=_waves(record.sound),
        heard_seconds=round(min(WINDOW, record.frames / _rate(record.rate)), 1),
        warnings=record.warnings,
        revision=record.revision,
        replaced=record.replaced,
        curve=_curve(grade),
        greys=_greys(record),
        verdict=measured.verdict if measured else "",
        checks=tuple(measured.checks.items()) if measured else (),
        **clip_pictures(folder, record),
    )


def _look(record: DeliveredRecord, name: str, look: OtherLook) -> PageLook:
    outputs = dict.fromkeys(entry.output for entry in record.outputs if entry.look == name)
    return PageLook(
        name=name,
        outputs=", ".join(outputs),
        description=look.description,
        digest=look.digest,
        colour=look.colour,
    )


def _sound(sound: ClipSound | None) -> str:
    """The sound of a clip in a line: its files, what the recorder calls it, and why it is that."""
    if sound is None:
        return ""
    if sound.kind != "production":
        return f"{sound.kind}: {sound.reason}"
    named = [("scene", sound.scene), ("take", sound.take), ("roll", sound.roll)]
    said = ", ".join(f"{word} {text}" for word, text in named if text)
    tracks = f"; tracks {', '.join(sound.tracks)}" if sound.tracks else ""
    files = " ".join(sound.file_names)
    silence = f"; silent {sound.silence}" if sound.silence else ""
    return f"production: {files}{f' ({said})' if said else ''}: {sound.reason}{silence}{tracks}{_heard(sound.heard)}"


def _waves(sound: ClipSound | None) -> list[Line]:
    """Peaks at the start of a clip as (whose, SVG points) of a field 320 wide and 40 high, drawn to both sides of its middle."""
    peaks = sound.heard.peaks if sound and sound.heard else []
    lines = []
    for whose, values in zip(("production", "camera"), peaks, strict=False):
        upper = [f"{x},{20 - 19 * v:.1f}" for x, v in enumerate(values)]
        lower = [f"{x},{20 + 19 * v:.1f}" for x, v in enumerate(values)]
        lines.append((whose, " ".join([*upper, *reversed(lower)])))
    return lines


def _heard(heard: HeardSound | None) -> str:
    if heard is None:
        return ""
    if heard.offset_ms is None:
        return "; heard against the camera's sound: cannot tell"
    drift = "" if heard.drift_ms is None else f", drift {round(heard.drift_ms, 1) + 0.0} ms"
    side = "after" if heard.offset_ms >= 0 else "before"
    return f"; the camera's sound is heard {abs(heard.offset_ms):.1f} ms {side} it{drift}"


def _curve(grade: Grade | None) -> list[Line]:
    """The CDL's slope, offset and power as (channel, SVG points), 0..1 drawn in 100 x 100; saturation is not in it."""
    if not grade:
        return []
    x = np.linspace(0, 1, 33)
    lines = []
    for name, slope, offset, power in zip(
        ("red", "green", "blue"), grade.slope, grade.offset, grade.power, strict=True
    ):
        y = np.clip(x * float(slope) + float(offset), 0, 1) ** float(power)
        lines.append(
            (name, " ".join(f"{100 * u:.1f},{100 - 100 * v:.1f}" for u, v in zip(x, y, strict=True)))
        )
    return lines


def _greys(record: DeliveredRecord) -> list[Line]:
    """Curves of the whole look on greys, as (channel, SVG points) of 100 x 100: across, the scene's light
    from 2.5 stops under to 2.5 over 18 %; up, the display signal 0..1. From the patches in the record, so
    evaluated exactly."""
    patches = record.colour.patches
    layer = next((x for x in record.look.layers if x.layer == "display"), None)
    seen = sorted((light, patches[name].xyz) for name, light in _GREYS.items() if name in patches)
    if not layer or len(seen) < 3:
        return []
    display = find_display(layer.name)
    rgb = display.from_light(np.array([xyz for _, xyz in seen]) @ np.linalg.inv(display.gamut.to_xyz()).T)
    across = [100 * (np.log2(light / 0.18) + 2.5) / 5 for light, _ in seen]
    return [
        (name, " ".join(f"{u:.1f},{100 - 100 * v:.1f}" for u, v in zip(across, rgb[:, k], strict=True)))
        for k, name in enumerate(("red", "green", "blue"))
    ]


def _spanned(clips: Sequence[PageClip]) -> list[PageClip]:
    """Place of each clip on the day's line, in hundredths: `left` and `wide`, from its timecodes."""
    ends = [(_seconds(c.first), _seconds(c.first) + c.frames / _rate(c.rate)) for c in clips]
    start = min((e[0] for e in ends), default=0.0)
    whole = max(max((e[1] for e in ends), default=1.0) - start, 1e-6)
    placed = []
    for clip, (first, last) in zip(clips, ends, strict=True):
        wide = round(max(100 * (last - first) / whole, 0.4), 3)
        left = round(min(100 * (first - start) / whole, 100 - wide), 3)
        placed.append(replace(clip, left=left, wide=wide))
    return placed


def _seconds(timecode: str) -> float:
    parts = [int(p) for p in re.findall(r"\d+", timecode)][:3]
    return float(sum(p * k for p, k in zip(parts, (3600, 60, 1), strict=False)))


def _rate(text: str) -> float:
    try:
        rate = float(Fraction(text))
    except (ValueError, ZeroDivisionError):
        return 24.0
    return rate if rate > 0 else 24.0


def _scenes(clips: list[PageClip]) -> list[tuple[str, list[PageClip]]]:
    """Clips by scene, scenes by the time of their first clip, clips by time."""
    groups: dict[str, list[PageClip]] = defaultdict(list)
    for clip in sorted(clips, key=lambda c: (c.first, c.name)):
        groups[clip.scene].append(clip)
    return [(f"Scene {scene}" if scene else "No scene stated", takes) for scene, takes in groups.items()]
