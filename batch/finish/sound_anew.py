"""Sound that comes days later: a delivered movie's pictures are copied, packet by packet, and its sound alone is made anew.

A job of no segments is such a job: its pictures, their colour and their digests are those of the record before.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rushlight.batch.finish.joined_movie import coded_pictures, joined_movie
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.kept_revisions import kept_place
from rushlight.batch.records.files import DeliveredMovie, SoundTrack
from rushlight.batch.records.finished import laid_of
from rushlight.batch.records.job_record import DeliveredRecord, RecipeName, Replaced
from rushlight.batch.records.merged import made_of, only_outputs
from rushlight.batch.records.queue_row import PlannedRecord
from rushlight.batch.records.sound import heard_record, heard_warnings
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import DeliveryError, RushlightError
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.inside_folder import path_of, stat_of
from rushlight.pipelines.job.production import opened_production
from rushlight.pipelines.job.spec import JobSpec, MovieSpec
from rushlight.pipelines.measure.hearing import hear
from rushlight.pipelines.measure.sound_lag import Heard
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.outputs.hdr_metadata import HdrMetadata, hdr_metadata

__all__ = ["heard_in_job", "sound_made_anew"]


def heard_in_job(job: JobSpec, facts: Facts) -> tuple[Heard | None, list[str]]:
    """Production sound heard against the camera's, with warnings; None where there are not both. What does not read costs no
    clip."""
    if not job.production or not facts.sound or job.retimed:
        return None, []
    rate = FrameRate.parse(job.rate).fraction
    try:
        heard = hear(opened_production(job.production), facts, first=job.first, count=job.count, rate=rate)
    except RushlightError:
        return None, []
    return heard, heard_warnings(heard, Path(job.production.parts[0][0].path).name, rate)


def sound_made_anew(job: JobSpec, facts: Facts, token: str) -> DeliveredRecord:
    """The record of a clip whose movies have new sound under the pictures that they had. DeliveryError where a delivered file
    is not as it was recorded, or its pictures came out other."""
    out = Path(job.out)
    before = latest(read_log(out).records).get(job.job)
    if not isinstance(before, DeliveredRecord):
        raise DeliveryError("has no delivered pictures to lay new sound under", file=str(out))
    entries: list[DeliveredMovie] = []
    said: list[str] = []
    stood: list[Replaced] = []
    for output in job.outputs:
        assert isinstance(output, MovieSpec)
        entry, texts, there = _movie(job, output, facts, token, before)
        entries.append(entry)
        said += texts
        stood += there
    heard, noted = heard_in_job(job, facts)
    planned = PlannedRecord.read(job.record)
    sound = planned.sound
    if sound and heard:
        sound = sound.model_copy(update={"heard": heard_record(heard)})
    warnings = [*planned.warnings, *_still_true(before), *said, *noted]
    names = {entry.output for entry in entries}
    colour = only_outputs(before.colour, names)
    return before.model_copy(
        update={
            "outputs": entries,
            "colour": colour,
            "made_with": made_of(before.made_with, names),  # its pictures are as they were
            "sound": sound,
            "recipe": planned.recipe or RecipeName(),
            "row": planned.row or {},
            "row_from": planned.row_from,
            "camera_facts": planned.camera_facts,
            "warnings": list(dict.fromkeys(warnings)),
            "replaced": stood,
        }
    )


def _movie(
    job: JobSpec, output: MovieSpec, facts: Facts, token: str, before: DeliveredRecord
) -> tuple[DeliveredMovie, tuple[str, ...], Sequence[Replaced]]:
    out = Path(job.out)
    old = next(
        (e for e in before.outputs if isinstance(e, DeliveredMovie) and e.output == output.output), None
    )
    if old is None:
        raise DeliveryError("has no delivered pictures to lay new sound under", file=f"{out}/{output.folder}")
    name = old.path if still_there(out, old) else kept_place(out, old)
    if not name:
        raise DeliveryError("is not as it was delivered: it is to be made again", file=str(out / old.path))
    pictures = path_of(out, name)
    made = joined_movie(
        job,
        output,
        facts,
        token,
        paths=[pictures],
        counts=[old.frames],
        hdr=_light(job, output, old),
        pictures=coded_pictures(pictures),
    )
    info = stat_of(out, made.path)
    update = {
        "path": made.path,
        "identity": output.identity,
        "bytes": info.st_size,
        "mtime_ns": info.st_mtime_ns,
        "hash": made.digest,
        "clip_name": job.stem,
        "umid": made.delivered.umids.material if made.delivered.umids else "",
        "sound": [
            SoundTrack(codec=c, channels=n, sample_rate=r, name=name)
            for (c, n, r), name in zip(made.delivered.sound, made.delivered.sound_names, strict=True)
        ],
        "sound_laid": laid_of(job, output) if made.delivered.sound else None,
        **({"loudness": made.loudness} if made.loudness or old.loudness else {}),
    }
    return old.model_copy(update=update), made.said, made.stood


def _light(job: JobSpec, output: MovieSpec, old: DeliveredMovie) -> HdrMetadata | None:
    """The light that an HDR movie states, which is copied with its pictures and must be there again."""
    if old.light is None:
        return None
    return hdr_metadata(find_display(job.look_of(output).display), [(old.light.max_cll, old.light.max_fall)])


def _still_true(before: DeliveredRecord) -> list[str]:
    """Warnings of the record before that are not about its sound."""
    names = before.sound.file_names if before.sound else ()
    about = ("production sound", *names)
    return [text for text in before.warnings if not any(word in text for word in about)]
