"""The job record of a finished clip, put together of its job, its files as they were read back, and its segments' side files."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from rushlight.batch.records.colour import Colour, Flashes, Graded, Level, Patch, Picture, cautions
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill, Light, SoundLaid, SoundTrack, Tags
from rushlight.batch.records.job_record import SCHEMA, DeliveredRecord, MadeWith, RecipeName
from rushlight.batch.records.look import Grade, Layer, Look, OpenColorIO, OtherLook
from rushlight.batch.records.merged import checksum_of, looks_shown
from rushlight.batch.records.original import Counts, Original, Pushed, Signal, Source, damage_said
from rushlight.batch.records.queue_row import PlannedRecord
from rushlight.batch.records.side_files import SegmentPicture, SegmentSide, SegmentStill
from rushlight.batch.records.sound import ClipSound, heard_record
from rushlight.pipelines.colour.displays import find_display, opencolorio_version
from rushlight.pipelines.colour.look import Look as ExactLook
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import stat_of, write
from rushlight.pipelines.job.from_spec import build_look
from rushlight.pipelines.job.spec import JobSpec, MovieSpec, StillSpec, StillsSpec
from rushlight.pipelines.library_versions import made_with
from rushlight.pipelines.measure.checksum import picture_digest
from rushlight.pipelines.measure.flashes import flashing, unpacked
from rushlight.pipelines.measure.original_baseline import original_of
from rushlight.pipelines.measure.out_of_range import corrected_look, range_warnings
from rushlight.pipelines.measure.sound_lag import Heard
from rushlight.pipelines.originals.camera_header import header_shown
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.outputs.readback import Delivered

__all__ = ["few_levels", "finished_record", "laid_of", "movie_entry", "still_entry"]

Sides = Sequence[SegmentSide]
MOST = 240  # lines of a measurement over time, of a clip of any length


# --- files


def movie_entry(
    job: JobSpec,
    output: MovieSpec,
    delivered: Delivered,
    timecode: Timecode,
    *,
    path: str,
    digest: str,
    side: SegmentSide,
) -> DeliveredMovie:
    """A movie as its record has it. `path` is the file's from the output folder, `digest` its hash, `side` any segment's."""
    info = stat_of(Path(job.out), path)
    picture = next(p for p in side.pictures if output.output in p.outputs)
    entry = DeliveredMovie(
        output=output.output,
        kind="movie",
        path=path,
        state=output.state,
        identity=output.identity,
        picture_identity=output.picture_identity,
        frames=delivered.frames,
        card=output.card,
        first_timecode=str(timecode),
        bytes=info.st_size,
        mtime_ns=info.st_mtime_ns,
        hash=digest,
        codec=output.codec,
        container=output.container,
        pixel_format=delivered.pixel_format,
        width=delivered.width,
        height=delivered.height,
        rate=delivered.rate,
        tags=_tags(delivered.tags),
        picture_tags=_tags(delivered.picture_tags),
        light=Light(max_cll=delivered.light[0], max_fall=delivered.light[1]) if delivered.light else None,
        reel=delivered.reel,
        clip_name=job.stem,
        umid=delivered.umids.material if delivered.umids else "",
        sound=[
            SoundTrack(codec=c, channels=n, sample_rate=r, name=name)
            for (c, n, r), name in zip(delivered.sound, delivered.sound_names, strict=True)
        ],
        sound_laid=laid_of(job, output) if delivered.sound else None,
        picture=picture.picture,
        covered=side.movies[output.output].covered,
        display=job.look_of(output).display if output.state != "log" else None,
    )
    return entry.model_copy(update={"look": output.look}) if output.look else entry


def laid_of(job: JobSpec, output: MovieSpec) -> SoundLaid | None:
    """How an output's sound is laid, for verify to lay it again; None for no track. A retimed clip's own is silent."""
    if output.sound == "none":
        return None
    return SoundLaid(
        lay="silent" if job.retimed and not job.production else output.sound,
        channels=list(output.channels),
        tracks=list(output.tracks),
        camera_sound=output.camera_sound and not job.retimed,
    )


def _tags(tags: tuple[int, int, int, str]) -> Tags:
    primaries, transfer, matrix, levels = tags
    return Tags(primaries=primaries, transfer=transfer, matrix=matrix, levels=levels)


def still_entry(
    job: JobSpec,
    output: StillsSpec,
    still: StillSpec,
    *,
    timecode: Timecode,
    path: str,
    info: os.stat_result,
    digest: str,
    made: SegmentStill,
) -> DeliveredStill:
    """A still as its record has it. `path` and `info` are the file's, `digest` its hash, `made` what its segment says of it."""
    entry = DeliveredStill(
        output=output.output,
        kind="still",
        still_kind=still.kind,
        path=path,
        state=output.state,
        identity=output.identity,
        frame=still.frame,
        frames=1,
        first_timecode=str(timecode),
        bytes=info.st_size,
        mtime_ns=info.st_mtime_ns,
        hash=digest,
        width=output.width,
        height=output.height,
        picture=made.picture,
        digest=made.digest,
        tiles=made.tiles,
        covered=[],
        display=job.look_of(output).display if output.state != "log" and still.kind != "exr" else None,
    )
    return entry.model_copy(update={"look": output.look}) if output.look else entry


# --- the record


def finished_record(
    job: JobSpec,
    facts: Facts,
    sides: Sides,
    outputs: Sequence[DeliveredMovie | DeliveredStill],
    said: Sequence[str] = (),
    heard: Heard | None = None,
) -> DeliveredRecord:
    """The record of a delivered clip; the lines of its frames go to a side file. `said` are warnings of its movies."""
    look, planned = build_look(job.look, Path(job.out)), PlannedRecord.read(job.record)
    counts, damage = _counts(sides), [each for side in sides for each in side.damage]
    warnings = [*planned.warnings, *(text for side in sides for text in side.warnings), *said]
    warnings += damage_said(damage)
    pushed = counts.pushed or Pushed()
    warnings += range_warnings(
        build_look(corrected_look(job), Path(job.out)),
        {"over": counts.over, "under": counts.under, "outside": counts.outside, "pixels": counts.pixels},
        {"over": pushed.over, "under": pushed.under, "pixels": pushed.pixels},
    )
    seen = original_of([side.original for side in sides if side.original], job.no_light)
    colour = _colour(job, sides, outputs)
    warnings += cautions(colour.pictures)
    looks = {name: _other_look(job, name, planned.grade) for name in job.looks}
    record = DeliveredRecord(
        schema=SCHEMA,
        job=job.job,
        clip=job.clip,
        status="done",
        reel=job.reel,
        rate=job.rate,
        capture_rate=planned.capture_rate,
        frames=job.count,
        first_frame=job.first,
        first_timecode=job.timecode,
        last_timecode=str(Timecode.parse(job.timecode, FrameRate.parse(job.rate)) + (job.count - 1)),
        source=_source(job, facts, planned),
        signal=planned.signal or Signal(),
        look=_look(look, planned.grade),
        recipe=planned.recipe or RecipeName(),
        row=planned.row or {},
        row_from=planned.row_from,
        camera_facts=planned.camera_facts,
        sound=_sound(planned.sound, heard),
        outputs=list(outputs),
        colour=colour,
        original=Original.model_validate(seen),
        counts=counts,
        warnings=list(dict.fromkeys(warnings)),
        damage=damage,
    )
    shown = looks_shown(looks, colour.pictures, outputs)
    graded = {"graded_by": runs} if (runs := _graded(sides)) else {}
    made = MadeWith(outputs=[output.output for output in job.outputs], versions=made_with(), **graded)
    told = {"framing": planned.framing, "excerpt": planned.excerpt, "looks": shown, "made_with": [made]}
    return record.model_copy(update={name: value for name, value in told.items() if value})


def _graded(sides: Sides) -> list[Graded]:
    """Who graded which frames, over all segments."""
    found: list[Graded] = []
    for run in (run for side in sides for run in side.graded_by):
        last = found[-1] if found else None
        if last and last.by == run.by and last.first + last.frames == run.first:
            found[-1] = last.model_copy(update={"frames": last.frames + run.frames})
        else:
            found.append(run)
    return found


def _sound(planned: ClipSound | None, heard: Heard | None) -> ClipSound | None:
    """The clip's sound as it was planned, with what was heard of it."""
    if planned is None or heard is None:
        return planned
    return planned.model_copy(update={"heard": heard_record(heard)})


def _look(look: ExactLook, grade: Grade | None) -> Look:
    layers = [Layer.model_validate(layer) for layer in look.layers()]
    return Look(
        layers=layers,
        digest=look.digest(),
        description=look.describe(),
        grade=grade,
        opencolorio=_opencolorio(layers),
    )


def _other_look(job: JobSpec, name: str, grade: Grade | None) -> OtherLook:
    look = build_look(job.looks[name], Path(job.out))
    found = _look(look, grade)
    return OtherLook(
        layers=found.layers,
        digest=found.digest,
        description=found.description,
        grade=found.grade,
        opencolorio=found.opencolorio,
        display=look.display.name,
        patches=_patches(job.look_patches.get(name, {})),
    )


def _patches(patches: Mapping[str, object]) -> dict[str, Patch]:
    return {name: Patch.model_validate(patch) for name, patch in patches.items()}


def _opencolorio(layers: Sequence[Layer]) -> OpenColorIO | None:
    """The version and configuration that a layer of the look, or a node of its LUT, was evaluated by, where one was."""
    config = next((layer.config for layer in layers if layer.config), "")
    nodes = any(node.endswith("by OpenColorIO") for layer in layers for node in layer.nodes)
    return OpenColorIO(version=opencolorio_version(), config=config) if config or nodes else None


def _source(job: JobSpec, facts: Facts, planned: PlannedRecord) -> Source:
    source = Source(
        path=job.source.path,
        bytes=facts.bytes,
        mtime_ns=facts.mtime_ns,
        hash=job.source.hash,
        sampled=planned.sampled_hash,
        manifest=planned.manifest,
        codec=facts.codec,
        width=facts.width,
        height=facts.height,
        pixel_format=facts.stored_format,
        frames=facts.frames,
        header=header_shown(facts.metadata),
    )
    more = {"files": list(job.source.files), "mended": planned.mended}
    return source.model_copy(update={name: value for name, value in more.items() if value})


def _counts(sides: Sides) -> Counts:
    """Pixels outside 0..1 over all segments: of every picture, and of stills where there is no movie."""
    seen = [counts for side in sides for counts in (*(p.counts for p in side.pictures), side.seen)]
    return Counts(
        over=sum(each.over for each in seen),
        under=sum(each.under for each in seen),
        outside=sum(each.outside for each in seen),
        pixels=sum(each.pixels for each in seen),
        pushed=Pushed(
            over=sum(side.pushed.over for side in sides),
            under=sum(side.pushed.under for side in sides),
            pixels=sum(side.pushed.pixels for side in sides),
        ),
    )


def _colour(job: JobSpec, sides: Sides, outputs: Sequence[DeliveredMovie | DeliveredStill]) -> Colour:
    pictures = _pictures(job, sides)
    names = sorted({name for side in sides for name in side.movies})
    return Colour(
        digest=checksum_of(pictures, outputs),
        pictures=pictures,
        patches=_patches(job.patches),
        tiles={n: [t for side in sides if n in side.movies for t in side.movies[n].tiles] for n in names},
        sensitivity=next((side.sensitivity for side in sides if side.sensitivity), {}),
        faults=[fault for side in sides for fault in side.faults],
    )


def _shown_look(job: JobSpec, name: str) -> dict[str, str]:
    """A picture's fields where it does not show the recipe's look."""
    look = build_look(job.looks[name], Path(job.out))
    return {"look": name, "look_digest": look.digest(), "display": look.display.name}


def few_levels(found: Sequence[Level], most: int = MOST) -> list[Level]:
    """At most so many: of each run of seconds the furthest, so that nothing that left a limit is lost."""
    run = -(-len(found) // most) or 1
    if run == 1:
        return list(found)
    runs = (found[first : first + run] for first in range(0, len(found), run))
    return [
        Level(
            frame=each[0].frame,
            luma=[min(level.luma[0] for level in each), max(level.luma[1] for level in each)],
            rgb=[min(level.rgb[0] for level in each), max(level.rgb[1] for level in each)],
            outside=max(level.outside for level in each),
        )
        for each in runs
    ]


def _pictures(job: JobSpec, sides: Sides) -> list[Picture]:
    """One entry a distinct picture, its frames' digests in order put together; the frames go to a side file."""
    identities = "-".join(sorted({o.identity[:6] for o in job.outputs}))[:80]
    keep = f"log/frames/{job.job}-{identities}.jsonl"
    found: list[Picture] = []
    lines: list[str] = []
    for index, first in enumerate(sides[0].pictures):
        digests = [digest for side in sides for digest in side.pictures[index].digests]
        grids = [grid for side in sides for grid in side.pictures[index].grids]
        level = few_levels([each for side in sides for each in side.pictures[index].level])
        more: dict[str, object] = {"level": level} if level else {}
        more |= _flashes(job, first, [side.pictures[index].light for side in sides])
        more |= _shown_look(job, first.look) if first.look else {}
        found.append(
            Picture(
                state=first.state,
                raster=first.raster,
                pixel_format=first.pixel_format,
                digest=picture_digest(
                    digests, state=first.state, raster=first.raster, pixel_format=first.pixel_format
                ),
                outputs=first.outputs,
                index=index,
                frames=keep,
            ).model_copy(update=more)
        )
        for number, (digest, grid) in enumerate(zip(digests, grids, strict=True), job.first):
            lines.append(json.dumps({"picture": index, "frame": number, "digest": digest, "luma": grid}))
    if lines:
        write(Path(job.out), keep, ("\n".join(lines) + "\n").encode())
    return found


def _flashes(job: JobSpec, picture: SegmentPicture, light: Sequence[str]) -> dict[str, list[Flashes]]:
    """A picture's runs of flashing frames; nothing where there are none, or a segment of it was not measured."""
    if not all(light):
        return {}
    rate = FrameRate.parse(job.rate)
    start = Timecode.parse(job.timecode, rate)
    shown = find_display((job.looks[picture.look] if picture.look else job.look).display)
    found = [
        Flashes(kind=run.kind, first=str(start + run.first), last=str(start + run.last), area=run.area)
        for run in flashing(map(unpacked, light), rate.fraction, hdr=shown.hdr)
    ]
    return {"flashes": found} if found else {}
