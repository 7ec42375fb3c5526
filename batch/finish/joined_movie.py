"""One movie joined from its pictures, with its sound; read back, and only then the final name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import xxhash
from numpy.typing import NDArray

from rushlight.batch.finish.final_name import place
from rushlight.batch.queue.finish_token import may_finish
from rushlight.batch.records.job_record import Replaced
from rushlight.batch.records.sound import SoundLoudness, loudness_record
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.formats.media_libraries import open_movie
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import fresh, unlink
from rushlight.pipelines.job.clip_metadata import movie_metadata
from rushlight.pipelines.job.from_spec import movie_format, movie_tags, work_name
from rushlight.pipelines.job.production import opened_production
from rushlight.pipelines.job.spec import JobSpec, MovieSpec
from rushlight.pipelines.measure.checksum import file_hash
from rushlight.pipelines.measure.loudness import Meter
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.outputs.hdr_metadata import HdrMetadata
from rushlight.pipelines.outputs.join_segments import join
from rushlight.pipelines.outputs.mxf_packages import Umids, set_umids, umids_of
from rushlight.pipelines.outputs.readback import Delivered, check, expected, read_back
from rushlight.pipelines.outputs.sound_mixdown import sound_under
from rushlight.pipelines.outputs.sound_tracks import Sound

__all__ = ["Joined", "coded_pictures", "joined_movie"]

PROGRAMME = (
    2  # channels whose loudness is measured: more are tracks of a recorder, and no loudspeakers' layout
)


@dataclass(frozen=True, kw_only=True)
class Joined:
    """A movie that has its final name: as it was read back, and what is to be said of it."""

    delivered: Delivered
    timecode: Timecode
    path: str  # from the output folder
    digest: str
    said: tuple[str, ...]
    stood: Sequence[Replaced]  # what stood at its name
    loudness: SoundLoudness | None  # of its sound as it was laid; None where it has none


def joined_movie(
    job: JobSpec,
    output: MovieSpec,
    facts: Facts,
    token: str,
    *,
    paths: Sequence[Path],
    counts: Sequence[int],
    hdr: HdrMetadata | None,
    pictures: str = "",
) -> Joined:
    """The movie of an output from files of `counts` pictures each. `pictures`: the `coded_pictures` of a delivered movie, which states its
    light already and keeps them. DeliveryError where it is not what it should be."""
    timecode = Timecode.parse(job.timecode, FrameRate.parse(job.rate)) + -output.card
    movie, metadata = movie_format(job, output, movie_tags(job, output, facts)), movie_metadata(job, output)
    out, final = Path(job.out), f"{output.folder}/{output.file}"
    making = f"{work_name(job)}/{output.identity}/.{token}.{output.file}.part"
    meter = Meter()
    sound, said = _sound(job, output, facts, movie.rate.fraction, meter)
    try:
        temporary = fresh(out, making)
        join(
            paths,
            counts,
            temporary,
            movie,
            timecode=timecode,
            reel=job.reel,
            metadata=metadata,
            sound=sound,
            hdr=None if pictures else hdr,
        )
        if umids := _umids(job, output):
            set_umids(temporary, umids)
        delivered = read_back(temporary)
        wanted = expected(
            movie, frames=sum(counts), timecode=timecode, reel=job.reel, sound=sound, hdr=hdr, umids=umids
        )
        faults = check(delivered, wanted)
        if pictures and not faults and coded_pictures(temporary) != pictures:
            faults = ["its pictures are not those that it had"]
        if faults:
            raise DeliveryError("was made, but " + "; ".join(faults), file=str(out / final))
        digest = file_hash(temporary)
        may_finish(out, job.job, token)
        stood = place(out, making, final, output.output)
    finally:
        unlink(out, making)
    noted = tuple(f"{output.output}: {text}" for text in (*said, *_unsaid(delivered, metadata)))
    loud = loudness_record(meter.found(), min(sound.channels, PROGRAMME)) if sound else None
    return Joined(
        delivered=delivered,
        timecode=timecode,
        path=final,
        digest=digest,
        said=noted,
        stood=stood,
        loudness=loud,
    )


def coded_pictures(path: Path) -> str:
    """A hash of the pictures of a movie as they are coded, in the order of decoding."""
    state = xxhash.xxh3_128()
    with open_movie(path) as movie:
        for packet in movie.demux(movie.streams.video[0]):
            state.update(bytes(packet))
    return str(state.hexdigest())


def _sound(
    job: JobSpec, output: MovieSpec, facts: Facts, rate: Fraction, meter: Meter
) -> tuple[Sound | None, tuple[str, ...]]:
    """The sound under an output's pictures, which the meter hears as it is laid; and what is to be said of it."""
    sound, said = sound_under(
        facts,
        first=job.first,
        count=job.count,
        rate=rate,
        sound=output.sound,
        channels=output.channels,
        container=output.container,
        retimed=job.retimed,
        card=output.card,
        production=opened_production(job.production) if job.production else None,
        named=output.tracks,
        camera_sound=output.camera_sound,
    )
    return (replace(sound, blocks=_measured(sound.blocks, meter)) if sound else None), said


def _measured(blocks: Iterable[NDArray[np.int32]], meter: Meter) -> Iterator[NDArray[np.int32]]:
    """The same blocks; the meter has heard each as it is laid."""
    for block in blocks:
        meter.add(block[:PROGRAMME] / 2.0**31)
        yield block


def _unsaid(delivered: Delivered, metadata: Mapping[str, str]) -> list[str]:
    """Words on metadata that the file was given and does not state as it should."""
    lost = [key for key, text in metadata.items() if delivered.metadata.get(key) != text]
    return [f"its tags lack {', '.join(lost)}, or cut them short; the record has them"] if lost else []


def _umids(job: JobSpec, output: MovieSpec) -> Umids | None:
    """UMIDs of an MXF's packages, those of its clip by all that makes the file what it is; None of other movies."""
    if output.container != "mxf":
        return None
    return umids_of(f"{job.job} {output.identity}", job.reel)
