"""Planned clips -> jobs: what is still to be made, under an identity that changes with the result and with nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import TypedDict, TypeVar

from rushlight.batch.framing.output_framing import framing_record
from rushlight.batch.lists.clip_list import is_yes
from rushlight.batch.plan.clip import clip_metadata, own_fields, takes
from rushlight.batch.plan.clip_sound import production_identity, sound_record, sound_spec
from rushlight.batch.plan.in_out import marked_stills
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.records.job_record import RecipeName
from rushlight.batch.records.original import Signal
from rushlight.batch.records.queue_row import PlannedRecord
from rushlight.batch.sound.sound_statements import lay_of
from rushlight.pipelines.burnin.text_fields import RUNNING, card_values, fields_of
from rushlight.pipelines.formats.codecs import codec, segment_frames
from rushlight.pipelines.job.delivered_names import Named, Names, StillFrame, by_template, own_names
from rushlight.pipelines.job.from_spec import drawn_fields
from rushlight.pipelines.job.spec import (
    FrameLine,
    JobSpec,
    MovieSpec,
    OutputSpec,
    SegmentSpec,
    SourceSpec,
    State,
    StillSpec,
    StillsSpec,
    digest_of,
)
from rushlight.pipelines.portable_name import safe_name
from rushlight.pipelines.recipe.model import Frame, Guides, MovieOutput, Output, Recipe, StillsOutput

__all__ = [
    "asked_outputs",
    "in_turns",
    "is_asked",
    "job_id",
    "named",
    "output_specs",
    "segments_of",
    "shown_files",
    "still_frames",
    "wanted",
]


T = TypeVar("T", MovieOutput | StillsOutput, OutputSpec)


def job_id(clip: PlannedClip) -> str:
    """The key of a clip in its output folder: where its files go."""
    part = [clip.excerpt, clip.still] if clip.excerpt else []
    return f"{safe_name(clip.stem)[:40]}-{digest_of([clip.folder, clip.stem, *part], 10)}"


def wanted(clip: PlannedClip, output: MovieOutput | StillsOutput) -> bool:
    """True if an output's `only` takes this clip, and the output makes stills where the clip is to be one."""
    return takes(output, clip.row) and not (clip.still and isinstance(output, MovieOutput))


def is_asked(clip: PlannedClip, output: str) -> bool:
    """True of an output, by its name, that is to be made now."""
    return not clip.outputs or output in clip.outputs


def asked_outputs(clip: PlannedClip, recipe: Recipe) -> list[MovieOutput | StillsOutput]:
    """The outputs of a recipe that are to be made of a clip now."""
    return [o for o in recipe.output if wanted(clip, o) and is_asked(clip, o.name)]


def in_turns(
    clip: PlannedClip, outputs: Iterable[T], first: Sequence[str]
) -> list[tuple[int, tuple[T, ...]]]:
    """A clip's outputs by the rank in which the recipe's `first` wants them made: (rank, outputs), lowest first."""
    turns: dict[int, list[T]] = {}
    circled = is_yes(clip.row["circled"])
    for output in outputs:
        name = output.name if isinstance(output, MovieOutput | StillsOutput) else output.output
        rank = 0
        for word in first:
            rank = 2 * rank + (not circled if word == "circled" else word != name)
        turns.setdefault(rank, []).append(output)
    return [(rank, tuple(turns[rank])) for rank in sorted(turns)]


@dataclass(frozen=True, kw_only=True)
class Known:
    """Facts that identities need beside the plan: the original's sampled hash, burn-in values, kept fonts by
    name, what stands in for missing files of a sequence, and the identities that are in the clip's record."""

    source: str
    fields: Mapping[str, str]
    fonts: Mapping[str, str]
    missing_frames: str = "fail"
    recorded: frozenset[str] = frozenset()


def output_specs(clip: PlannedClip, recipe: Recipe, known: Known) -> tuple[OutputSpec, ...]:
    """The outputs a recipe makes of a clip, each with its identity."""
    found: dict[str, OutputSpec] = {}
    for output in recipe.output:
        if not wanted(clip, output):
            continue
        spec = (
            _movie(clip, output, known) if isinstance(output, MovieOutput) else _stills(clip, output, known)
        )
        if spec.identity in found:  # alike but for the name: their unfinished files must not meet
            spec = spec.model_copy(update={"identity": digest_of([spec.identity, spec.output])})
        found[spec.identity] = spec
    return tuple(found.values())


class _Common(TypedDict):
    """Fields that movies and stills share."""

    output: str
    folder: str
    by_template: bool
    state: State
    look: str
    width: int
    height: int
    frame: Frame
    guides: Guides | None
    lines: tuple[FrameLine, ...]


def _common(clip: PlannedClip, output: MovieOutput | StillsOutput) -> _Common:
    frame = clip.frame_of(output)
    folder = _names(clip, output).folder
    return {
        "output": output.name,
        "folder": f"{output.name}/{folder}" if folder else output.name,
        "by_template": by_template(output),
        "state": output.state,
        "look": clip.shows.get(output.name, "") if output.state != "log" else "",
        "width": frame.width,
        "height": frame.height,
        "frame": frame.frame,
        "guides": output.guides,
        "lines": frame.lines,
    }


def _source_identity(clip: PlannedClip, output: Output, known: Known) -> dict[str, object]:
    """Identity of the source: all of the clip itself that changes an output's pictures."""
    look, state = clip.look_of(output.name).identity(), output.state
    if state == "show":
        look |= {"grade": None, "exposure": 0.0, "white_balance": None, "printer_points": None}
    if state == "log":
        look = {"encoding": "" if clip.signal.encoding.kind != "linear" else look["encoding"]}
    return {
        "source": known.source,
        "first": clip.first,
        "count": clip.count,
        "rate": str(clip.rate.fraction),
        "levels": clip.signal.levels,
        "chroma": clip.signal.chroma,
        "matrix": clip.facts.matrix,
        **({"missing": known.missing_frames} if clip.facts.missing else {}),
        "look": look,
    }


def _movie(clip: PlannedClip, output: MovieOutput, known: Known) -> MovieSpec:
    which = codec(output.codec)
    container = output.container or which.containers[0]
    sound = lay_of(clip.row["sound"]) or output.sound
    common = _common(clip, output)
    settings = output.model_dump(
        mode="json",
        exclude={
            *("name", "only", "path", "file", "burnin", "sound", "tracks", "camera_sound", "container"),
            *("size", "card", "look", "lut", "display"),
        },
    )
    own = own_fields(clip, output.name)
    card = [output.card, *card_values({**known.fields, **own})] if output.card else None
    drawn = None
    if output.burnin:
        fields = drawn_fields({**known.fields, **own}, sound)
        shown = {name: fields.get(name, "") for name in fields_of(output.burnin) if name not in RUNNING}
        font = known.fonts.get(output.burnin.font, "")
        drawn = {**output.burnin.model_dump(mode="json"), "font": font, "values": shown}
    settings |= clip.frame_of(output).identity(output.guides)
    pictures = {
        **_source_identity(clip, output, known),
        "settings": settings,
        "size": [common["width"], common["height"]],
        "container": container,
        "burnin": drawn,
        "timecode": str(clip.timecode),
        "reel": clip.reel,
        "retimed": clip.retimed,
        **({"card": card} if card else {}),
    }
    alone = {key: value for key, value in settings.items() if key != "channels"}
    return MovieSpec(
        **common,
        identity=digest_of({**pictures, "sound": sound, **production_identity(clip, output, sound)}),
        picture_identity=digest_of(pictures | {"settings": alone}),
        file=_names(clip, output).files[0],
        codec=which.name,
        container=container,
        quality=output.quality,
        preset=output.preset,
        peak=output.peak,
        sound=sound,  # type: ignore[arg-type]
        channels=output.channels,
        tracks=output.tracks,
        camera_sound=output.camera_sound,
        burnin=output.burnin,
        font=f"log/inputs/{known.fonts[output.burnin.font]}" if output.burnin and output.burnin.font else "",
        dither=output.dither,
        transfer_tag=output.transfer_tag,
        card=output.card,
        fields=own,
    )


def _stills(clip: PlannedClip, output: StillsOutput, known: Known) -> StillsSpec:
    common = _common(clip, output)
    each = [(number, kind) for number in still_frames(clip, output) for kind in output.kinds]

    def stills(names: Names) -> tuple[StillSpec, ...]:
        pairs = zip(each, names.files, strict=True)
        return tuple(StillSpec(frame=number, kind=kind, file=file) for (number, kind), file in pairs)

    said = {
        **_source_identity(clip, output, known),
        "stills": [s.model_dump(mode="json") for s in stills(own_names(output, named(clip, output)))],
        "size": [common["width"], common["height"]],
        "frame": common["frame"].model_dump(mode="json"),
        "timecode": str(clip.timecode),
        "clip": clip.stem,
    }
    # 0.1.0 named the clip as the list has it; what it delivered keeps that identity, and is not made again.
    first, identity = digest_of({**said, "clip": clip.row.clip}), digest_of(said)
    identity = first if first in known.recorded else identity
    return StillsSpec(**common, identity=identity, stills=stills(_names(clip, output)))


def named(
    clip: PlannedClip, output: MovieOutput | StillsOutput, values: Mapping[str, str] | None = None
) -> Named:
    """What the names of a clip's files in an output are made of; `values` are those of its templates' fields."""
    frames = still_frames(clip, output) if isinstance(output, StillsOutput) else []
    return Named(
        stem=clip.stem,
        folder=clip.folder,
        values=values or {},
        frames=tuple(
            StillFrame(
                frame=number - clip.first,
                source_frame=clip.facts.first_number + number,
                timecode=(clip.timecode + (number - clip.first)).dotted,
            )
            for number in frames
        ),
        single=clip.still or frames == [clip.first + clip.count // 2],
        tail=clip.excerpt.replace(":", ".").replace(";", "."),
        extension=(output.container or codec(output.codec).containers[0])
        if isinstance(output, MovieOutput)
        else "",
    )


def _names(clip: PlannedClip, output: MovieOutput | StillsOutput) -> Names:
    """Names of a clip's files in an output, as they were settled among all clips, or its own."""
    return clip.names.get(output.name) or own_names(output, named(clip, output))


def shown_files(clip: PlannedClip, recipe: Recipe) -> list[str]:
    """Files that a person may want to know of ahead, from the output folder: those that templates name, and all of an excerpt."""
    if not clip.excerpt:
        return [path for name, names in clip.names.items() for path in names.paths(name)]
    return [
        path for output in asked_outputs(clip, recipe) for path in _names(clip, output).paths(output.name)
    ]


def still_frames(clip: PlannedClip, output: StillsOutput) -> list[int]:
    """The original's frame numbers that an output takes stills of, in order."""
    found: set[int] = {clip.first} if clip.still else set()
    for place in output.at:
        if place == "list":
            found.update(clip.first + n for n in marked_stills(clip.row["stills"], clip.timecode))
        else:
            found.add(clip.first + {"first": 0, "middle": clip.count // 2, "last": clip.count - 1}[place])
    if output.every:
        step = max(Fraction(1), Fraction(str(output.every)) * clip.rate.fraction)
        found.update(clip.first + round(k * step) for k in range(ceil(clip.count / step)))
    return sorted(n for n in found if clip.first <= n < clip.first + clip.count)


def segments_of(clip: PlannedClip, outputs: tuple[OutputSpec, ...]) -> tuple[SegmentSpec, ...]:
    """Runs of two seconds from the clip's first frame; where no movie is to be made, the stills' frames alone."""
    if any(isinstance(o, MovieSpec) for o in outputs):
        size = segment_frames(clip.rate)
        return tuple(
            SegmentSpec(index=k, first=clip.first + start, count=min(size, clip.count - start))
            for k, start in enumerate(range(0, clip.count, size))
        )
    frames = sorted(
        {s.frame for o in outputs if isinstance(o, StillsSpec) for s in o.stills}
        | {clip.first + clip.count // 2}
    )
    return tuple(SegmentSpec(index=n - clip.first, first=n, count=1, movies=False) for n in frames)


def _spread(clip: PlannedClip) -> tuple[str, ...]:
    """The files of a clip that lie in several folders: its pattern does not lead to them all."""
    folders = {path.parent for path in clip.facts.files} if clip.facts.parts else ()
    return tuple(str(path.absolute()) for path in clip.facts.files) if len(folders) > 1 else ()


def _source(clip: PlannedClip, recipe: Recipe, digest: str) -> SourceSpec:
    """The original as workers read it; `digest` is its hash as logged."""
    return SourceSpec(
        path=str(clip.path.absolute()),
        files=_spread(clip),
        hash=digest,
        bytes=clip.facts.bytes,
        mtime_ns=clip.facts.mtime_ns,
        rate=str(clip.facts.rate.fraction) if clip.facts.rate_from != "header" else None,
        missing=recipe.missing_frames,
        damaged=recipe.damaged_frames,
        conform=recipe.variable_rate == "conform" and clip.facts.variable_rate,
        levels=clip.signal.levels,  # type: ignore[arg-type]
        chroma=clip.signal.chroma,  # type: ignore[arg-type]
        matrix=clip.facts.matrix,
    )


def job_spec(
    clip: PlannedClip,
    *,
    out: Path,
    outputs: tuple[OutputSpec, ...],
    recipe: Recipe,
    baked: Mapping[str, str],
    fields: Mapping[str, str],
    hashes: tuple[str, str],
    sound_alone: bool = False,
) -> JobSpec:
    """The job that makes these outputs of a clip; with `sound_alone` under the pictures that they have. `hashes`: as logged,
    and as sampled."""
    return JobSpec(
        job=job_id(clip),
        clip=clip.called,
        stem=clip.stem,
        out=str(out),
        source=_source(clip, recipe, hashes[0]),
        first=clip.first,
        count=clip.count,
        rate=str(clip.rate.fraction),
        timecode=str(clip.timecode),
        reel=clip.reel,
        retimed=clip.retimed,
        production=sound_spec(clip.sound),
        look=clip.look,
        looks={o.look: clip.looks[o.look] for o in outputs if o.look},
        baked=dict(baked),
        outputs=outputs,
        segments=() if sound_alone else segments_of(clip, outputs),
        fields=dict(fields),
        metadata=clip_metadata(clip, fields),
        record=PlannedRecord(
            signal=Signal(
                encoding=clip.signal.encoding.name,
                encoding_from=clip.signal.encoding_from,
                levels=clip.signal.levels,
                levels_from=clip.signal.levels_from,
            ),
            capture_rate=str(clip.capture_rate.fraction) if clip.capture_rate else None,
            grade=clip.decision.record,
            recipe=RecipeName(name=recipe.name, digest=recipe.digest()),
            excerpt=clip.excerpt,
            row=dict(clip.row.cells),
            row_from=dict(clip.row.filled),
            camera_facts=clip.camera_facts,
            sound=sound_record(clip),
            warnings=list(clip.warnings),
            sampled_hash=hashes[1],
            manifest=clip.manifest.record() if clip.manifest else None,
        ).plain()
        | framing_record(clip.frames),
    )
