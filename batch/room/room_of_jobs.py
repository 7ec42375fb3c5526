"""Jobs as the forecast of room takes them: what each is to make, and the delivered files that this stands in for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.records.files import Output
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.room.output_sizes import Measured, measured_in
from rushlight.batch.room.room_forecast import ToMake
from rushlight.pipelines.job.spec import JobSpec, OutputSpec

__all__ = ["WaitingJob", "room_of_clip", "room_of_jobs"]


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


def _channels(clip: PlannedClip) -> int:
    """Channels of a clip's own sound; of production sound, as many as most takes have."""
    return sum(track.channels for track in clip.facts.sound) or (2 if clip.sound else 0)


def _stood_in_for(record: JobRecord | None, outputs: Sequence[OutputSpec]) -> tuple[Output, ...]:
    """Delivered files that new outputs replace."""
    new = {output.output: output.identity for output in outputs}
    return tuple(e for e in (record.outputs if record else ()) if e.identity != new.get(e.output, e.identity))
