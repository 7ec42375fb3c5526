"""A plan as one JSON document: everything that lists, grades and headers can show."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NotRequired, TypedDict, cast

from rushlight.batch.disks import existing
from rushlight.batch.lists.row_faults import faults_of
from rushlight.batch.looks.output_looks import OutputLook, output_looks
from rushlight.batch.plan.clip_sound import shown_of, sound_record
from rushlight.batch.plan.jobs import asked_outputs, shown_files
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.plan.reconcile_media import MediaSums, Unreadable
from rushlight.batch.room.room_forecast import RoomDocument
from rushlight.batch.room.room_of_jobs import bytes_of_clips
from rushlight.batch.run.forecast import cost_of_outputs
from rushlight.batch.sound.sound_sums import Sounded, sound_sums
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.originals.camera_header import header_shown
from rushlight.pipelines.recipe.model import Recipe

if TYPE_CHECKING:
    from rushlight.batch.decisions.decision import Decision
    from rushlight.batch.lists.clip_list import Row
    from rushlight.batch.plan.prepare import Prepared
    from rushlight.pipelines.colour.cdl import CDL

__all__ = [
    "Clip",
    "Counts",
    "Estimate",
    "GradeNumbers",
    "MediaSums",
    "PlanDocument",
    "RoomDocument",
    "SoundCounts",
    "near",
    "plan_document",
    "short_grade",
]

MOST_SHOWN = 3  # candidates shown with their numbers


class Missing(TypedDict):
    """What nobody states of a camera's clips, and the lines that would (batch/records/summary.py)."""

    key: str
    camera: str
    text: str
    clips: list[str]
    alone: list[str]
    suggested: str
    file: str
    lines: str


class Problem(TypedDict):
    """Something wrong, and where: the file (or list), its line and key. `kind`: refused, set aside or failed."""

    clip: str
    kind: str
    file: str
    line: int | None
    key: str
    text: str


class GradeNumbers(TypedDict):
    """ASC CDL in numbers."""

    slope: list[float]
    offset: list[float]
    power: list[float]
    saturation: float


class Grade(GradeNumbers):
    """Grade of a clip, where it was read and why it is the clip's."""

    source: str
    reason: str


class Candidate(GradeNumbers):
    """Grade that was set after the cut and is not used."""

    when: str
    source: str


class Clip(TypedDict):
    """A clip as it would be made."""

    clip: str
    path: str
    line: int
    reel: str
    first_timecode: str
    last_timecode: str  # of the last frame
    end_timecode: str  # of the frame after it, as an EDL's out
    timecode_from: str
    first_frame: int
    frames: int
    rate: str
    capture_rate: str | None
    rate_from: str
    codec: str
    size: str
    encoding: str
    encoding_from: str
    levels: str
    levels_from: str
    grade: Grade | None
    grade_reason: str
    candidates: list[Candidate]
    sound: dict[str, object] | None  # as the record has it
    show_lut: str | None
    look: dict[str, object]
    looks: NotRequired[dict[str, OutputLook]]  # of outputs that do not show `look`, by the output's name
    manifest: dict[str, object] | None  # as the record has it; null where no manifest was given
    outputs: list[str]
    folder: str
    framing: list[dict[str, object]]  # by framing decisions, as the record has it
    files: list[str]  # that templates name, or of an excerpt; from the output folder
    excerpt: str  # the part of the clip that is asked for alone: `IN-OUT`, or a still's timecode; else empty
    row: dict[str, str]
    row_from: dict[str, str]  # of cells that the list does not state: who does
    camera_facts: dict[str, dict[str, object]]  # as the record has them
    header: dict[str, str]  # of the original, by its own keys
    warnings: list[str]


class SoundCounts(TypedDict):
    """Sound files below the sound folders: found = used + not used + unreadable."""

    found: int
    used: int
    not_used: list[Unreadable]
    unreadable: list[Unreadable]


class Counts(TypedDict):
    """rows + one_by_one = planned + set_aside + failed + alike + not_chosen."""

    rows: int
    one_by_one: int
    planned: int
    set_aside: int
    failed: int
    alike: int
    not_chosen: int
    ungraded: int
    frames: int


class Estimate(TypedDict):
    """Bytes and processor time that the outputs are likely to take, and what is free."""

    bytes: int
    seconds_one_worker: int
    free_bytes: int | None


class PlanDocument(TypedDict):
    """A plan as `plan --json` prints it."""

    schema: str
    title: str  # of the day; empty without one
    recipe: str
    clips: list[Clip]
    problems: list[Problem]
    missing: list[Missing]  # the problems of clips of which nobody states something, said once a camera
    warnings: list[str]
    counts: Counts
    media: MediaSums | None
    sound: SoundCounts | None
    estimate: Estimate  # of all clips, made or not
    to_make: NotRequired[int]  # clips of which something is to be made; where an output folder is named
    room: NotRequired[RoomDocument]  # where an output folder is named
    forecast: NotRequired[Mapping[str, object]]
    versions: NotRequired[list[dict[str, object]]]  # with `--from`: batch/report/made_with.py
    further: NotRequired[list[PlanDocument]]  # of a day with several recipes


def _problem(row: Row, error: RushlightError, kind: str) -> Problem:
    return {
        "clip": row.clip,
        "kind": kind,
        "file": row.file,
        "line": row.line,
        "key": error.key or "",
        "text": error.text if error.file in (None, "", row.file) else f"{error.file}: {error.text}",
    }


def _fault(error: RushlightError) -> Problem:
    """The fault of a file of decisions: nothing is rendered until it is right."""
    return {
        "clip": "",
        "kind": "refused",
        "file": error.file or "",
        "line": error.line,
        "key": error.key or "",
        "text": error.text,
    }


def _numbers(cdl: CDL) -> GradeNumbers:
    return {
        "slope": list(cdl.slope),
        "offset": list(cdl.offset),
        "power": list(cdl.power),
        "saturation": cdl.saturation,
    }


class _Candidates(dict[int, Candidate]):
    """Grades set later, by the identity of each: those of a record are candidates of hundreds of clips."""

    def of(self, decision: Decision) -> list[Candidate]:
        for x in decision.later:
            if id(x) not in self:
                self[id(x)] = {**_numbers(x.cdl), "when": x.when, "source": x.source}
        return [self[id(x)] for x in decision.later]


def _clip(clip: PlannedClip, recipe: Recipe, candidates: _Candidates) -> Clip:
    decision, facts, sound = clip.decision, clip.facts, sound_record(clip)
    grade: Grade | None = None
    if decision.cdl is not None:
        grade = {**_numbers(decision.cdl), "source": decision.source, "reason": decision.reason}
    plain: Clip = {
        "clip": clip.called,
        "path": str(clip.path),
        "line": clip.row.line,
        "reel": clip.reel,
        "first_timecode": str(clip.timecode),
        "last_timecode": str(clip.timecode + (clip.count - 1)),
        "end_timecode": str(clip.timecode + clip.count),
        "timecode_from": "the list" if clip.row["timecode"] else facts.timecode_from,
        "first_frame": clip.first,
        "frames": clip.count,
        "rate": str(clip.rate.fraction),
        "capture_rate": str(clip.capture_rate.fraction) if clip.capture_rate else None,
        "rate_from": facts.rate_from,
        "codec": facts.codec,
        "size": f"{facts.width}x{facts.height}",
        "encoding": clip.signal.encoding.name,
        "encoding_from": clip.signal.encoding_from,
        "levels": clip.signal.levels,
        "levels_from": clip.signal.levels_from,
        "grade": grade,
        "grade_reason": decision.reason,
        "candidates": candidates.of(decision),
        "show_lut": clip.look.lut.name if clip.look.lut else None,
        "look": clip.look.model_dump(mode="json"),
        "sound": sound.plain() if sound else None,
        "manifest": clip.manifest.record().plain() if clip.manifest else None,
        "outputs": [o.name for o in asked_outputs(clip, recipe)],
        "folder": clip.folder,
        "framing": [frame.record.plain() for frame in clip.frames.values() if frame.record],
        "files": shown_files(clip, recipe),
        "excerpt": clip.excerpt,
        "row": dict(clip.row.cells),
        "row_from": dict(clip.row.filled),
        "camera_facts": {name: fact.plain() for name, fact in clip.camera_facts.items()},
        "header": header_shown(facts.metadata),
        "warnings": [*clip.warnings, *_candidates(decision)],
    }
    return {**plain, "looks": output_looks(clip.looks, clip.shows)} if clip.shows else plain


def _candidates(decision: Decision) -> list[str]:
    """Grades set after the cut, in short: the document has all of them."""
    if not decision.later:
        return []
    shown = [
        f"{x.when} {near(x.source)}: {short_grade(_numbers(x.cdl))}" for x in decision.later[:MOST_SHOWN]
    ]
    rest = len(decision.later) - MOST_SHOWN
    more = f"; and {rest} more, to {decision.later[-1].when} (--json has them all)" if rest > 0 else ""
    return [f"set after the cut and not used: {'; '.join(shown)}{more}"]


def plan_document(prepared: Prepared) -> PlanDocument:
    """Everything that lists, grades and headers can show, JSON-able."""
    plan, recipe = prepared.plan, prepared.recipe
    candidates = _Candidates()
    clips = [_clip(c, recipe, candidates) for c in plan.clips]
    problems = [_fault(error) for error in prepared.faults]
    problems += [_problem(r, fault, "set aside") for r, e in plan.wrong for fault in faults_of(e)]
    problems += [_problem(r, e, "failed") for r, e in plan.broken]
    frames, size = sum(c["frames"] for c in clips), bytes_of_clips(plan.clips, recipe)
    seconds = sum(cost_of_outputs(c, asked_outputs(c, recipe)) for c in plan.clips)
    place = existing(prepared.request.out) if prepared.request.out else None
    return {
        "schema": "rushlight-plan-1",
        "title": prepared.request.title.text,
        "recipe": recipe.name,
        "clips": clips,
        "problems": problems,
        "missing": [cast("Missing", each.plain()) for each in plan.missing],
        "warnings": list(plan.warnings),
        "counts": {
            "rows": len(prepared.clip_list.rows),
            "one_by_one": plan.one_by_one,
            "planned": len(clips),
            "set_aside": len(plan.wrong),
            "failed": len(plan.broken),
            "alike": plan.alike,
            "not_chosen": plan.not_chosen,
            "ungraded": sum(1 for c in clips if c["grade"] is None),
            "frames": frames,
        },
        "media": _media(prepared),
        "sound": _sound(prepared),
        "estimate": {
            "bytes": size,
            "seconds_one_worker": round(seconds),
            "free_bytes": shutil.disk_usage(place).free if place else None,
        },
    }


def _media(prepared: Prepared) -> MediaSums | None:
    media = prepared.media
    if media is None:
        return None
    return {
        "found": media.found,
        "listed": media.listed,
        "not_listed": [str(p) for p in media.not_listed],
        "unreadable": [{"path": str(p), "why": why} for p, why in media.unreadable],
        "ignored": media.ignored,
        "absent": [{"path": name, "manifest": str(manifest)} for name, manifest in media.absent],
    }


def _sound(prepared: Prepared) -> SoundCounts | None:
    clips = [
        Sounded(clip=c.row.clip, shown=shown_of(c), sound=c.sound) for c in prepared.plan.clips if c.sound
    ]
    sums = sound_sums(prepared.sound, clips)
    if sums is None:
        return None
    return {
        "found": sums.found,
        "used": sums.used,
        "not_used": [{"path": str(p), "why": why} for p, why in sums.not_used],
        "unreadable": [{"path": str(p), "why": why} for p, why in sums.unreadable],
    }


def near(place: str) -> str:
    """A place as a person at this folder would write it."""
    try:
        return str(Path(place).relative_to(Path.cwd()))
    except ValueError:
        return place


def short_grade(grade: GradeNumbers) -> str:
    """A grade in four figures, without what does nothing."""
    stated = (
        ("slope", grade["slope"], [1.0] * 3),
        ("offset", grade["offset"], [0.0] * 3),
        ("power", grade["power"], [1.0] * 3),
    )
    found = [
        f"{name} {' '.join(f'{v:.4g}' for v in values)}" for name, values, same in stated if values != same
    ]
    if grade["saturation"] != 1:
        found.append(f"sat {grade['saturation']:.4g}")
    return ", ".join(found) or "no change"
