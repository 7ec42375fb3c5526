"""Join segments, read back, and only then the final name: the last step of one job, run by a worker.

Nothing here decides what is to be made. `finish_job` gives the job record that the runner logs; a file has
its final name only once it is complete, checked and on the disk.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from rushlight.batch.finish.chart_measured import chart_measured
from rushlight.batch.finish.final_name import place
from rushlight.batch.finish.joined_movie import joined_movie
from rushlight.batch.finish.sound_anew import heard_in_job, sound_made_anew
from rushlight.batch.finish.still_before import still_before
from rushlight.batch.json_lines import plain_json
from rushlight.batch.queue.finish_token import may_finish
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill
from rushlight.batch.records.finished import finished_record, movie_entry, still_entry
from rushlight.batch.records.job_record import Replaced
from rushlight.batch.records.shape import Plain
from rushlight.batch.records.side_files import SegmentSide
from rushlight.batch.report.page_pictures import clip_pictures
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import DeliveryError, OptionError, SourceError, from_os
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import (
    fresh,
    is_file,
    path_of,
    read_bytes,
    stat_of,
    unlink,
)
from rushlight.pipelines.job.from_spec import (
    movie_tags,
    opened_facts,
    segment_name,
    side_name,
    still_name,
    work_name,
)
from rushlight.pipelines.job.spec import JobSpec, MovieSpec, SegmentSpec, StillsSpec
from rushlight.pipelines.measure.checksum import file_hash
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.outputs.hdr_metadata import HdrMetadata, hdr_metadata, states_light
from rushlight.pipelines.outputs.stills import read_still
from rushlight.pipelines.render.slate_head import Head, write_head

__all__ = ["finish_job"]


def finish_job(payload: Mapping[str, object], segments: Sequence[Mapping[str, object]], token: str) -> Plain:
    """Everything a job still owes once its segments are there. Gives its record; raises DeliveryError where a
    file is not what it should be. Running it twice gives the same files."""
    job = JobSpec.parse(payload)
    facts = opened_facts(job.source)
    if not job.segments:
        return sound_made_anew(job, facts, token).plain()
    sides = [_side(job, segment) for segment in job.segments]
    lost = [damage for side in sides for damage in side.damage if damage.lost]
    if len(lost) >= job.count:
        raise SourceError(f"none of its pictures decodes: {lost[0].what}", file=job.source.path)
    outputs: list[DeliveredMovie | DeliveredStill] = []
    warnings: list[str] = []
    stood: list[Replaced] = []
    for output in job.outputs:
        if isinstance(output, MovieSpec):
            entry, said, there = _movie(job, output, facts, sides, token)
            outputs.append(entry)
            warnings += said
        else:
            entries, there = _stills(job, output, sides, token)
            outputs += entries
        stood += there
    heard, noted = heard_in_job(job, facts)
    warnings += noted
    chart, told = chart_measured(job, facts)
    record = finished_record(job, facts, sides, outputs, [*warnings, *told], heard)
    if chart:
        record = record.model_copy(update={"chart": chart})
    if stood:
        record = record.model_copy(update={"replaced": stood})
    with suppress(Exception):  # the report makes what is missing, and says why it cannot
        clip_pictures(Path(job.out), record)
    with suppress(Exception):  # a page without it says nothing of it
        still_before(job, facts, record)
    return record.plain()


def _side(job: JobSpec, segment: SegmentSpec) -> SegmentSide:
    """Side file of a segment. OptionError where it is damaged, DeliveryError where it is not there."""
    name = side_name(job, segment)
    try:
        return SegmentSide.read(plain_json(read_bytes(Path(job.out), name)))
    except (ValueError, OptionError) as error:
        fault = error if isinstance(error, OptionError) else OptionError(str(error))
        raise fault.at(file=str(Path(job.out) / name)) from None
    except OSError as error:
        raise from_os(error, Path(job.out) / name) from None


# --- movies


def _movie(
    job: JobSpec, output: MovieSpec, facts: Facts, sides: Sequence[SegmentSide], token: str
) -> tuple[DeliveredMovie, list[str], Sequence[Replaced]]:
    out = Path(job.out)
    drawing = f"{work_name(job)}/{output.identity}/.{token}.card.part"
    paths = [_segment(out, segment_name(job, output, s.index)) for s in job.segments]
    counts = [s.count for s in job.segments]
    head = None
    try:
        if output.card:
            card = fresh(out, drawing)
            head = write_head(card, job, output, facts)
            paths, counts = [card, *paths], [output.card, *counts]
        hdr = _light(job, output, movie_tags(job, output, facts).transfer, sides, head)
        made = joined_movie(job, output, facts, token, paths=paths, counts=counts, hdr=hdr)
    finally:
        unlink(out, drawing)
    entry = movie_entry(
        job, output, made.delivered, made.timecode, path=made.path, digest=made.digest, side=sides[0]
    )
    if made.loudness:
        entry = entry.model_copy(update={"loudness": made.loudness})
    return entry, [*made.said, *(head.warnings if head else ())], made.stood


def _segment(out: Path, name: str) -> Path:
    try:
        return path_of(out, name)
    except OSError as error:
        raise from_os(error, out / name) from None


def _light(
    job: JobSpec, output: MovieSpec, transfer: int, sides: Sequence[SegmentSide], head: Head | None
) -> HdrMetadata | None:
    """MaxCLL and MaxFALL of a PQ movie, from every picture of every segment and the card, burn-in and all."""
    if not states_light(output.codec, transfer):
        return None
    light = [(pair[0], pair[1]) for side in sides for pair in side.movies[output.output].light]
    if len(light) != job.count:
        raise DeliveryError(f"light was measured of {len(light)} pictures instead of {job.count}")
    if head and head.light:
        light.append(head.light)
    return hdr_metadata(find_display(job.look_of(output).display), light)


# --- stills


def _stills(
    job: JobSpec, output: StillsSpec, sides: Sequence[SegmentSide], token: str
) -> tuple[list[DeliveredStill], list[Replaced]]:
    rate = FrameRate.parse(job.rate)
    start = Timecode.parse(job.timecode, rate)
    made = {each.file: each for side in sides for each in side.stills.get(output.output, [])}
    out, entries, stood = Path(job.out), list[DeliveredStill](), list[Replaced]()
    for still in output.stills:
        temporary, final = still_name(job, output, still.file), f"{output.folder}/{still.file}"
        source = temporary if is_file(out, temporary) else final
        if still.file not in made or not is_file(out, source):
            raise DeliveryError("was not made", file=str(out / final))
        height, width, _ = read_still(path_of(out, source)).shape
        if (width, height) != (output.width, output.height):
            raise DeliveryError(
                f"is {width}x{height} instead of {output.width}x{output.height}", file=str(out / final)
            )
        digest = file_hash(path_of(out, source))
        if source == temporary:
            may_finish(out, job.job, token)
            stood += place(out, temporary, final, output.output)
        entries.append(
            still_entry(
                job,
                output,
                still,
                timecode=start + (still.frame - job.first),
                path=final,
                info=stat_of(out, final),
                digest=digest,
                made=made[still.file],
            )
        )
    return entries, stood
