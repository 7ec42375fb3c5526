"""One delivered clip as the report's page shows it, from its record and the last verdicts."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from urllib.parse import quote

import numpy as np

from rushlight.batch.cameras.camera_facts import recorded_camera_facts
from rushlight.batch.cleared_log import ClearedFiles, cleared_files
from rushlight.batch.lists.clip_list import is_yes
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill, OutputFile, framing_text
from rushlight.batch.records.job_record import DeliveredRecord, Replaced
from rushlight.batch.records.look import Grade, OtherLook
from rushlight.batch.records.original import facts_text
from rushlight.batch.records.sound import ClipSound, HeardSound
from rushlight.batch.records.verdicts import CheckVerdict, ClipVerdicts
from rushlight.batch.report.chart_drawing import DrawnChart, drawn_chart
from rushlight.batch.report.header_words import header_in_words, said_by_in_words
from rushlight.batch.report.level_charts import Chart, level_chart, loudness_chart
from rushlight.batch.report.needs import BadFile
from rushlight.batch.report.page_pictures import anchor_of, clip_pictures
from rushlight.batch.verify.colour_check import limits
from rushlight.batch.what_is_there import whole_again
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.inside_folder import is_file
from rushlight.pipelines.measure.sound_lag import WINDOW

__all__ = ["Line", "PageClip", "page_clip", "rate_of"]


Line = tuple[str, str]  # channel, SVG points

# Patches without colour, and the light that they reflect (0 to 1).
_GREYS = {"grey 18 %": 0.18, "white 90 %": 0.9} | {
    name: sum(values) / 3 for name, values in PATCHES.items() if max(values) - min(values) < 0.02
}


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
    camera_letter: str
    note: str
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
    header: Sequence[tuple[str, str]]  # of the original, its fields in words
    digest: str
    source: str
    files: Sequence[OutputFile]
    waves: Sequence[Line]  # of production sound and the camera's, at the start
    heard_seconds: float  # that they show
    manifest: str  # the original against its manifest; empty where none was given
    framing: str  # what framing decisions make of its outputs; empty without any
    sound: str  # which it is and why; empty where no sound folder was given
    warnings: Sequence[str]
    damage: Sequence[str]  # what is said of its damaged frames
    whole_again: str  # how it is made anew without them; empty without any
    revision: int
    replaced: Sequence[tuple[Replaced, str]]  # each with where it is now, in words
    curve: Sequence[Line]
    greys: Sequence[Line]
    verdict: str  # of the last `verify`; empty where it was not measured since it was made
    checks: Sequence[tuple[str, CheckVerdict]]
    play: str  # the smallest movie that browsers play, from the page; empty without one
    bad_files: Sequence[BadFile]  # that failed in it
    decided: str  # the figure and limit that decided its verdict; empty where it was not measured
    before_and_after: Sequence[tuple[str, str, str]]  # a still that a revision replaced, the new one, why
    still: str
    strip: str
    waveform: str
    cell: str
    small: str = ""
    before: str = ""
    lines: Sequence[str] = ()  # of its cell in a contact sheet
    scopes: Sequence[str] = ()
    chart: DrawnChart | None = None  # in the picture
    charts: Sequence[tuple[str, Chart]] = ()  # level and loudness over time, those that there are
    left: float = 0.0  # on the day's line, in hundredths of it
    wide: float = 0.0

    @property
    def speed(self) -> str:
        """Frames a second as people say them: 23.976, 25."""
        return f"{rate_of(self.rate):.3f}".rstrip("0").rstrip(".")


def page_clip(folder: Path, record: DeliveredRecord, measured: ClipVerdicts | None) -> PageClip:
    row, grade = record.row or {}, record.look.grade
    if measured and measured.made != record.finished:
        measured = None  # it was made anew since
    cleared = cleared_files(folder, record.replaced) if record.replaced else {}
    damage = record.damage_texts()
    return PageClip(
        anchor=anchor_of(record),
        name=record.clip,
        scene=row.get("scene", ""),
        take=row.get("take", ""),
        circled=is_yes(row.get("circled", "")),
        camera_letter=row.get("camera", ""),
        note=row.get("note", ""),
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
        camera_facts=[
            (name.replace("_", " "), fact.value, said_by_in_words(fact.said_by))
            for name, fact in facts.items()
        ],
        header=header_in_words(record.source.header),
        digest=record.colour.digest,
        source=record.source.path,
        manifest=record.source.manifest.sentence if record.source.manifest else "",
        files=record.outputs,
        framing=framing_text(record.framing),
        sound=_sound(record.sound),
        waves=_waves(record.sound),
        heard_seconds=round(min(WINDOW, record.frames / rate_of(record.rate)), 1),
        warnings=list(dict.fromkeys([*record.warnings, *damage])),
        damage=damage,
        whole_again=whole_again(record) if damage else "",
        revision=record.revision,
        replaced=[(old, _where_now(old, cleared)) for old in record.replaced],
        curve=_curve(grade),
        greys=_greys(record),
        verdict=measured.verdict if measured else "",
        checks=tuple(measured.checks.items()) if measured else (),
        bad_files=_bad_files(folder, measured) if measured else (),
        play=_play(record),
        decided=_decided(record, measured),
        before_and_after=_before_and_after(record, cleared),
        chart=drawn_chart(record),
        charts=_charts(record),
        **clip_pictures(folder, record),
    )


def _charts(record: DeliveredRecord) -> list[tuple[str, Chart]]:
    charts = (("level", level_chart(record)), ("loudness", loudness_chart(record)))
    return [(name, chart) for name, chart in charts if chart]


def _look(record: DeliveredRecord, name: str, look: OtherLook) -> PageLook:
    outputs = dict.fromkeys(entry.output for entry in record.outputs if entry.look == name)
    return PageLook(
        name=name,
        outputs=", ".join(outputs),
        description=look.description,
        digest=look.digest,
        colour=look.colour,
    )


SHOWN = (".jpg", ".png")  # stills that browsers show


def _play(record: DeliveredRecord) -> str:
    movies = [
        entry
        for entry in record.outputs
        if isinstance(entry, DeliveredMovie)
        and entry.codec == "h264"
        and entry.path.endswith((".mp4", ".mov"))
    ]
    return _href(min(movies, key=lambda entry: entry.width).path) if movies else ""


def _href(path: str) -> str:
    """A file of the output folder as the page's address of it."""
    return "../" + quote(os.fsencode(path))


def _bad_files(folder: Path, measured: ClipVerdicts) -> list[BadFile]:
    """Files of which a check failed; one whose name leads out of the folder, or that is not there, has no address."""
    bad = [
        path for path, checks in measured.files.items() if any(c.verdict == "fail" for c in checks.values())
    ]
    return [BadFile(path, _href(path) if is_file(folder, path) else "") for path in bad]


def _decided(record: DeliveredRecord, measured: ClipVerdicts | None) -> str:
    """Which check decided a clip's verdict: its words, or the colour figure nearest to its limit."""
    if measured is None:
        return ""
    if measured.verdict != "pass":
        worst = [
            (name, check) for name, check in measured.checks.items() if check.verdict == measured.verdict
        ]
        return "; ".join(f"{name}: {check.text}" if check.text else name for name, check in worst[:1])
    nearest, words = -1.0, "all checks pass"
    for entry in record.outputs:
        colour = measured.files.get(entry.path, {}).get("colour")
        limit = limits(entry)[0]
        if (
            colour
            and colour.mean is not None
            and colour.unit == "CIEDE2000"
            and colour.mean / limit > nearest
        ):
            nearest = colour.mean / limit
            words = f"{entry.output}: mean colour difference {colour.mean:g} of {limit:g} CIEDE2000 allowed"
    return words


def _where_now(old: Replaced, cleared: ClearedFiles) -> str:
    """Where a replaced file is: kept, removed as it was replaced, or cleared since."""
    if line := cleared.get((old.kept, old.hash)):
        return f"was kept as {old.kept}, {line.sentence}"
    return f"kept as {old.kept}" if old.kept else "removed"


def _before_and_after(record: DeliveredRecord, cleared: ClearedFiles) -> list[tuple[str, str, str]]:
    """Stills that a revision replaced and kept, each with the one that stands in their place."""
    new = {entry.path: entry for entry in record.outputs if isinstance(entry, DeliveredStill)}
    found = []
    for old in record.replaced:
        if (old.kept, old.hash) in cleared:
            continue
        if old.kept.endswith(SHOWN) and (entry := new.get(old.path)):
            found.append((_href(old.kept), _href(entry.path), f"revision {old.revision}: {old.why}"))
    return found


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


def rate_of(text: str) -> float:
    try:
        rate = float(Fraction(text))
    except (ValueError, ZeroDivisionError):
        return 24.0
    return rate if rate > 0 else 24.0
