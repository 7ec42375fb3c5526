"""Jobs as the forecast of room takes them: what each is to make, and the delivered files that this stands in for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from rushlight.batch.plan.jobs import asked_outputs, job_id, still_frames
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.records.files import Output
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.room.output_sizes import Measured, measured_in, movie_bytes, sound_bytes, stills_bytes
from rushlight.batch.room.room_forecast import ToMake
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.job.spec import JobSpec, OutputSpec
from rushlight.pipelines.recipe.model import MovieOutput, Recipe

__all__ = ["WaitingJob", "bytes_of_clips", "room_of_clip", "room_of_jobs"]


class WaitingJob(BaseModel):
    """Of a job that waits in a queue, what its room is counted by: to read all of thousands takes seconds."""

    model_config = ConfigDict(frozen=True, defer_build=True)

    out: str
    job: str
    outputs: tuple[OutputSpec, ...]
    count: int
    rate: str


def room_of_jobs(
    specs: Iterable[JobSpec | WaitingJob],
    clips: Iterable[PlannedClip] = (),
    records: Mapping[str, JobRecord] | None = None,
) -> list[ToMake]:
    """What jobs are to make. `clips` say how much sound they have (two channels where nobody says), `records` by job what there is."""
    known = {job_id(clip): clip for clip in clips}
    records = records or {}
    measured = measured_in(records.values())
    return [
        ToMake(
            out=Path(spec.out),
            job=spec.job,
            outputs=spec.outputs,
            frames=spec.count,
            rate=Fraction(spec.rate),
            channels=_channels(known[spec.job]) if spec.job in known else 2,
            replaced=_stood_in_for(records.get(spec.job), spec.outputs),
            measured=measured,
        )
        for spec in specs
    ]


def room_of_clip(
    clip: PlannedClip,
    out: Path,
    outputs: tuple[OutputSpec, ...],
    record: JobRecord | None,
    measured: Measured,
) -> ToMake:
    """What outputs of a planned clip are to make."""
    return ToMake(
        out=out,
        job=job_id(clip),
        outputs=outputs,
        frames=clip.count,
        rate=clip.rate.fraction,
        channels=_channels(clip),
        replaced=_stood_in_for(record, outputs),
        measured=measured,
    )


def bytes_of_clips(clips: Iterable[PlannedClip], recipe: Recipe) -> int:
    """Bytes that all outputs of clips are likely to take, with their sound, whatever is there."""
    total = 0.0
    for clip in clips:
        for output in asked_outputs(clip, recipe):
            frame = clip.frame_of(output)
            if isinstance(output, MovieOutput):
                total += _movie_bytes(clip, output, frame.width, frame.height)
            else:
                each = stills_bytes(output.kinds, width=frame.width, height=frame.height)
                total += len(still_frames(clip, output)) * each
    return round(total)


def _movie_bytes(clip: PlannedClip, output: MovieOutput, width: int, height: int) -> float:
    frames, rate = clip.count + output.card, clip.rate.fraction
    pictures = movie_bytes(
        output.codec,
        width=width,
        height=height,
        frames=frames,
        rate=rate,
        quality=output.quality,
        peak=output.peak,
    )
    if output.sound == "none":
        return pictures
    channels = len(output.channels) or (2 if output.sound == "mix" else _channels(clip))
    container = output.container or codec(output.codec).containers[0]
    return pictures + sound_bytes(frames / rate, channels, container)


def _channels(clip: PlannedClip) -> int:
    """Channels of a clip's own sound; of production sound, as many as most takes have."""
    return sum(track.channels for track in clip.facts.sound) or (2 if clip.sound else 0)


def _stood_in_for(record: JobRecord | None, outputs: Sequence[OutputSpec]) -> tuple[Output, ...]:
    """Delivered files that new outputs replace."""
    new = {output.output: output.identity for output in outputs}
    return tuple(e for e in (record.outputs if record else ()) if e.identity != new.get(e.output, e.identity))
