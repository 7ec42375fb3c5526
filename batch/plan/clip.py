"""Clips + grades + recipe -> what will be made of each clip, before a frame is read.

Every row of the list becomes a `PlannedClip` or a problem that names file, line and key; nothing is guessed
and nothing is lost. Only headers are read here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from rushlight.batch.decisions.decision import Decision
from rushlight.batch.decisions.lut_files import LutFiles
from rushlight.batch.framing.clip_canvas import FramedClip
from rushlight.batch.framing.clip_frames import clip_frames
from rushlight.batch.framing.framing_files import ClipFdl
from rushlight.batch.framing.output_framing import OutputFrame
from rushlight.batch.lists.camera_columns import NOTHING, Camera, camera_letter
from rushlight.batch.lists.clip_list import Row, cell_is
from rushlight.batch.looks.clip_looks import ClipLooks, clip_looks, lut_notes
from rushlight.batch.plan.clip_sound import sound_record, sound_text
from rushlight.batch.plan.in_out import frame_range
from rushlight.batch.plan.model import PlannedClip, Signal, Stated, stem_of
from rushlight.batch.plan.rates import exposed_rate, played_rate, relabelled
from rushlight.batch.plan.reels import reel_of
from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.pipelines.colour.camera_encodings import by_header, find_encoding, suggest_encoding
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import (
    EncodingError,
    ListError,
    SourceError,
    UnstatedError,
)
from rushlight.pipelines.formats.codecs import TRANSFERS, codec, log_notes, output_faults, rate_fault
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.job.clip_metadata import stated as stated_metadata
from rushlight.pipelines.job.other_looks import ungraded_notes
from rushlight.pipelines.job.spec import LookSpec
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.recipe.look_faults import transfer_of
from rushlight.pipelines.recipe.model import MovieOutput, Output, Recipe

__all__ = ["clip_metadata", "fields_of_clip", "frame_range", "own_fields", "plan_clip", "resolve_signal"]


def resolve_signal(stated: Sequence[Stated], facts: Facts) -> tuple[Signal, tuple[str, ...]]:
    """Encoding and levels from the first that states them, in order of trust.

    Levels stated beat the maker's rule, which beats the file's tag; RGB files are full unless stated.
    UnstatedError with key `encoding` where nobody states an encoding: it is never guessed.
    """
    warnings: list[str] = []
    says = next((s for s in stated if s.encoding), None)
    if says is None:
        hint = suggest_encoding(facts.metadata)
        raise UnstatedError(
            "this clip's encoding is not stated; a `[[default]]` table of its camera, a column `encoding` or --encoding says it"
            + (f" (the file's own metadata suggests {hint})" if hint else ""),
            key="encoding",
        )
    index, index_from = next(((s.exposure_index, s.who) for s in stated if s.exposure_index), (None, ""))
    try:
        encoding = by_header(find_encoding(says.encoding, exposure_index=index), facts.chromaticities)
    except EncodingError as error:
        raise error.at(key="encoding") from None
    if encoding.kind == "linear" and facts.chromaticities and not encoding.gamut.is_of(facts.chromaticities):
        numbers = " ".join(f"{v:.4g}" for v in facts.chromaticities)
        warnings.append(
            f"is read as {encoding.name} ({says.who}), but its header's chromaticities are {numbers}"
        )
    levels_say = next((s for s in stated if s.levels), None)
    ycbcr = facts.pixel_format.family == "ycbcr"
    tag = facts.levels_tag
    rule = False
    if levels_say:
        levels, levels_from = levels_say.levels.lower(), levels_say.who
    elif not ycbcr:
        levels, levels_from = "full", "RGB files are full"
    elif encoding.levels:
        levels, levels_from, rule = encoding.levels, f"the maker's rule for {encoding.curve}", True
    elif tag:
        levels, levels_from = tag, "the file's tag"
    else:
        levels, levels_from = "narrow", "YCbCr without a tag is narrow"
    if ycbcr and tag and tag != levels:
        warnings.append(f"levels are {levels} ({levels_from}), but the file's tag says {tag}")
    file_codes = levels == "full" and (tag == "narrow" or (tag is None and rule))
    chroma = "narrow" if ycbcr and file_codes else levels
    return (
        Signal(
            encoding=encoding,
            encoding_from=says.who,
            levels=levels,
            levels_from=levels_from,
            chroma=chroma,
            levels_stated=levels_say is not None,
            exposure_index_from=index_from,
        ),
        tuple(warnings),
    )


def plan_clip(
    row: Row,
    path: Path,
    facts: Facts,
    *,
    recipe: Recipe,
    stated: Sequence[Stated],
    decision: Decision,
    luts: LutFiles,
    lut_base: Path,
    camera: Camera = NOTHING,
    fdl: ClipFdl | None = None,
    no_framing: bool = False,
) -> PlannedClip:
    """One row with its original's facts and its grade, resolved. InputError or SourceError with the key at fault."""
    warnings = [*facts.warnings, *decision.warnings]
    _acceptable(facts if camera.rotation is None else replace(facts, rotation=0), recipe)
    reel = reel_of(row, path, facts)
    frames = _frames(row, path, facts, recipe, camera, reel, fdl, no_framing, warnings)
    rate, retimed = played_rate(facts, recipe, warnings)
    exposed = exposed_rate(row, facts, rate, warnings)
    start = Timecode.parse(row["timecode"], facts.rate) if row["timecode"] else facts.timecode
    _codecs_take(row, recipe, rate, frames)
    first, count, notes = frame_range(
        row["in"], row["out"], start=start, frames=facts.frames, handles=recipe.handles
    )
    warnings += notes
    timecode = start + first
    if retimed:
        timecode = relabelled(start, rate) + first
    signal, notes = resolve_signal(stated, facts)
    warnings += [*notes, *_log_notes(row, recipe, facts, signal), *_tag_notes(row, recipe)]
    finished = signal.encoding.kind == "video" and row.grade is None and not row["cdl"]
    if finished and decision.cdl is not None:  # a look recorded in camera: twice graded would be wrong
        decision = Decision(cdl=None, reason=f"display-encoded: {decision.source} is not for it")
    looks = clip_looks(row, recipe, takes, signal.encoding, decision.cdl, luts, lut_base)
    warnings += lut_notes(row, recipe, looks, signal.encoding, luts)
    warnings += _grade_notes(recipe, decision, looks, finished=finished)
    if row["reel"] and facts.reel and row["reel"].lower() != facts.reel.lower():
        warnings.append(f"the list says reel {row['reel']}, the file says {facts.reel}")
    return PlannedClip(
        row=row,
        path=path,
        facts=facts,
        stem=stem_of(path, facts),
        first=first,
        count=count,
        rate=rate,
        capture_rate=exposed,
        timecode=timecode,
        reel=reel,
        retimed=retimed,
        signal=signal,
        decision=decision,
        **looks,
        camera=camera,
        fdl=fdl,
        frames=frames,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _grade_notes(recipe: Recipe, decision: Decision, looks: ClipLooks, *, finished: bool) -> list[str]:
    """Notes on a clip without a grade; ListError where the recipe refuses one. `finished`: it is
    display-encoded."""
    if finished:
        return ["is display-encoded: nothing but what its row states is applied"]
    if decision.cdl is not None:
        return []
    if (lut := looks["look"].lut) and lut.contains_grade:
        notes = ungraded_notes(recipe, looks["looks"], looks["shows"])
        if notes and recipe.ungraded == "refuse":
            raise ListError(f"the recipe refuses ungraded clips: {notes[0]}", key="grade")
        return notes
    if recipe.ungraded == "refuse":
        raise ListError(
            f"has no grade, and the recipe refuses ungraded clips: {decision.reason}", key="grade"
        )
    return [f"ungraded: {decision.reason}"]


def takes(output: Output, row: Row) -> bool:
    """True if an output's `only` takes the clip of this row."""
    return not output.only or all(
        cell_is(row[column.lower()], value) for column, value in output.only.items()
    )


def _frames(
    row: Row,
    path: Path,
    facts: Facts,
    recipe: Recipe,
    camera: Camera,
    reel: str,
    fdl: ClipFdl | None,
    no_framing: bool,
    warnings: list[str],
) -> dict[str, OutputFrame]:
    """The frame of each output that takes this clip. SourceError where one cannot frame its original: an extraction area drawn for
    another raster; FramingError where a framing decision does not fit."""
    taken = [(index, output) for index, output in enumerate(recipe.output) if takes(output, row)]
    clip = FramedClip(
        names=(row.clip, stem_of(path, facts)),
        reel=reel,
        camera=camera_letter(row["camera"], reel),
        width=facts.width,
        height=facts.height,
    )
    frames, notes = clip_frames(
        taken,
        clip,
        facts,
        camera,
        fdl,
        none_stated=no_framing,
        refuse=recipe.unframed == "refuse",
    )
    warnings += notes
    return frames


def _codecs_take(row: Row, recipe: Recipe, rate: FrameRate, frames: Mapping[str, OutputFrame]) -> None:
    """ListError for a rate that a container does not hold, and for a raster of the original's that a codec does not take."""
    for index, output in enumerate(recipe.output):
        if isinstance(output, MovieOutput) and takes(output, row):
            which = codec(output.codec)
            fault = rate_fault(which, output.container or which.containers[0], rate)
            if fault:
                raise ListError(fault, key=f"output[{index}].container")
            if output.size is None:
                frame = frames[output.name]
                for _, fault in output_faults(which, size=(frame.width, frame.height)):
                    raise ListError(
                        f"output {output.name!r} states no size: {fault}", key=f"output[{index}].size"
                    )


def _log_notes(row: Row, recipe: Recipe, facts: Facts, signal: Signal) -> list[str]:
    found: list[str] = []
    for output in recipe.output:
        if isinstance(output, MovieOutput) and output.state == "log" and takes(output, row):
            linear = signal.encoding.kind == "linear"
            found += log_notes(codec(output.codec), facts.pixel_format, levels=signal.levels, linear=linear)
    return list(dict.fromkeys(found))


def _tag_notes(row: Row, recipe: Recipe) -> list[str]:
    """Movies that are tagged otherwise than their display, in words."""
    found = []
    for output in recipe.output:
        if isinstance(output, MovieOutput) and output.transfer_tag and takes(output, row):
            own, tag = transfer_of(recipe, output), output.transfer_tag
            found.append(
                f"{output.name}: its recipe has it tagged as transfer {tag} ({TRANSFERS[tag]}) instead of {own}; players that go by"
                " the tag show it otherwise, and no pixel is another"
            )
    return found


def _acceptable(facts: Facts, recipe: Recipe) -> None:
    if facts.interlaced and recipe.interlaced == "refuse":
        raise SourceError(
            'is interlaced; the recipe refuses it (interlaced = "as it is" takes it)', file=str(facts.path)
        )
    if facts.variable_rate and recipe.variable_rate == "refuse":
        raise SourceError(
            'has a variable frame rate; the recipe refuses it (variable_rate = "conform" takes it frame for frame)',
            file=str(facts.path),
        )
    if facts.missing and recipe.missing_frames == "fail":
        some = shortened([str(facts.first_number + n) for n in facts.missing], 6)
        raise SourceError(f"lacks {len(facts.missing)} of its files: number {some}", file=str(facts.path))
    if facts.rotation not in (0, 180):
        raise SourceError(
            f"is to be shown turned by {facts.rotation} degrees clockwise, which is not done here (180 is)",
            file=str(facts.path),
        )


def stated_by(row: Row, recipe: Recipe, defaults: Mapping[str, str], options: Stated) -> list[Stated]:
    """Statements of a clip's signal, in order of trust: row, side file, recipe, options."""

    def index(text: str) -> int | None:
        text = text.upper().removeprefix("EI").strip()
        if text and not re.fullmatch(r"[0-9]{1,7}", text):
            raise ListError(f"{text[:40]!r} is no exposure index", key="exposure_index")
        return int(text) if text else None

    def said(key: str) -> str:
        return defaults.get(key, "")

    return [
        Stated(
            who="the list",
            encoding=row["encoding"],
            levels=row["levels"],
            exposure_index=index(row["exposure_index"]),
            rate=row["rate"],
        ),
        Stated(who=said("encoding_from"), encoding=said("encoding")),
        Stated(who=said("levels_from"), levels=said("levels")),
        Stated(who=said("exposure_index_from"), exposure_index=index(said("exposure_index"))),
        Stated(who="the recipe", encoding=recipe.encoding, levels=recipe.levels, rate=recipe.rate or ""),
        options,
    ]


def fields_of_clip(clip: PlannedClip, recipe: Recipe, title: DayTitle = NO_TITLE) -> dict[str, str]:
    """Burn-in fields of a clip, beside the values that run. `title` is its day's; what its row says of that overrules."""
    row = clip.row
    cdl = clip.decision.cdl
    camera = row["camera"] or (clip.reel[:1] if clip.reel[:1].isalpha() else "")
    return {
        **dict(row.cells),
        "clip": clip.stem,
        "reel": clip.reel,
        "scene": row["scene"],
        "take": row["take"],
        "camera": camera,
        "capture_rate": str(clip.capture_rate or ""),
        "date": row["date"] or row["day"],
        "look": _look_text(clip, clip.look),
        "grade": cdl.numbers() if cdl else "no grade",
        "recipe": recipe.name,
        "note": row["note"],
        "sound": sound_text(clip),
        "production": (ours := title.overruled(row.cells)).production,
        "day": ours.day,
        "unit": ours.unit,
        "day_title": ours.text if title else "",
    }


def clip_metadata(clip: PlannedClip, fields: Mapping[str, str]) -> dict[str, str]:
    """Metadata of a clip's files by name; what nobody states is left out. `fields` are its burn-in fields, which have its day's
    title."""
    sound = sound_record(clip)
    facts = {
        "white_balance" if name == "wb" else name: fact.value for name, fact in clip.camera_facts.items()
    }
    return stated_metadata(
        {
            **{name: clip.row[name] for name in ("scene", "take", "circled", "note")},
            **{name: fields.get(name, "") for name in ("production", "day", "unit")},
            "camera": camera_letter(clip.row["camera"], clip.reel),
            "sound_roll": sound.roll if sound else "",
            **facts,
        }
    )


def own_fields(clip: PlannedClip, output: str) -> dict[str, str]:
    """Burn-in fields of an output that are not the clip's: its look, where it has another than the recipe's."""
    name = clip.shows.get(output, "")
    return {"look": f"{_look_text(clip, clip.looks[name])}, {name}"} if name else {}


def _look_text(clip: PlannedClip, look: LookSpec) -> str:
    cdl = clip.decision.cdl
    show = " + ".join(look.shown_by)
    return clip.row["look"] or f"{(cdl.id or 'CDL ' + cdl.numbers()) + ' + ' if cdl else ''}{show}"
