"""Speed of a machine: frames a second of the shipped recipes, with all its cores at work on one original of 1920x1080.

The original is made here: a moving ramp with noise as a camera's log has it, ProRes 422. Real pictures with much saturated light take
longer; a night is as fast as its disks as well.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from rushlight.pipelines.job.spec import JobSpec, MovieSpec, SegmentSpec, StillsSpec

__all__ = ["Speed", "measure"]

FRAMES = 12
SIZE = (1920, 1080)
CLIP = "speed"
LENGTH = 24  # frames of the original


@dataclass(frozen=True, kw_only=True)
class Speed:
    """Speed of one recipe: frames a second of its movies (None where it makes none), and seconds of a core for a clip's stills."""

    recipe: str
    frames_a_second: float | None
    stills_seconds: float | None

    def document(self) -> dict[str, object]:
        return asdict(self)


def measure(
    recipes: Sequence[str], *, cores: int, tell: Callable[[str], object] = lambda _: None
) -> Iterator[Speed]:
    """Each recipe's, in order; `tell` is given a recipe's name before it is measured."""
    with TemporaryDirectory(prefix="rushlight-doctor-") as name:
        folder = Path(name)
        original = _original(folder / f"{CLIP}.mov")
        with ProcessPoolExecutor(cores, mp_context=get_context("spawn")) as pool:
            for recipe in recipes:
                tell(recipe)
                job = _job(original, recipe, folder / recipe)
                yield Speed(
                    recipe=recipe,
                    frames_a_second=_movies(pool, job, cores),
                    stills_seconds=_stills(pool, job),
                )


def _movies(pool: ProcessPoolExecutor, job: JobSpec, cores: int) -> float | None:
    movies = tuple(o for o in job.outputs if isinstance(o, MovieSpec))
    if not movies:
        return None
    payloads = [_alone(job, f"{CLIP}-{n}", movies, FRAMES) for n in range(cores)]
    warm = [_alone(job, f"warm-{n}", movies, 2) for n in range(cores)]
    list(pool.map(_seconds, warm))
    begun = time.monotonic()
    list(pool.map(_seconds, payloads))
    return cores * FRAMES / (time.monotonic() - begun)


def _stills(pool: ProcessPoolExecutor, job: JobSpec) -> float | None:
    stills = tuple(o for o in job.outputs if isinstance(o, StillsSpec))
    if not stills:
        return None
    payload = _alone(job, "stills", stills, job.count)
    return pool.submit(_seconds, payload).result()


def _alone(
    job: JobSpec, name: str, outputs: tuple[MovieSpec, ...] | tuple[StillsSpec, ...], count: int
) -> dict[str, object]:
    """The job of a name, with these outputs alone, in one segment."""
    movies = isinstance(outputs[0], MovieSpec)
    segment = SegmentSpec(index=0, first=job.first, count=count, movies=movies)
    return job.model_copy(update={"job": name, "outputs": outputs, "segments": (segment,)}).model_dump(
        mode="json"
    )


def _seconds(payload: dict[str, object]) -> float:
    """Time that a worker takes for the one segment of a job."""
    from rushlight.pipelines.render.segment import render_segment

    begun = time.monotonic()
    render_segment(payload, 0, "doctor")
    return time.monotonic() - begun


def _job(original: Path, recipe: str, out: Path) -> JobSpec:
    """The job that `render` would make of the original."""
    from rushlight.batch.plan.prepare import prepare
    from rushlight.batch.plan.request import Request
    from rushlight.batch.run.event_stream import EventStream
    from rushlight.batch.run.jobs_to_make import baked, jobs_of

    listed = original.parent / "speed.csv"
    listed.write_text(f"clip,encoding,levels\n{original.name},S-Log3/S-Gamut3.Cine,narrow\n")
    request = Request(clip_list=listed, recipe=recipe, out=out, media=(original.parent,)).checked()
    prepared = prepare(request)
    turns, _, _ = jobs_of(prepared, out, EventStream())
    return baked(prepared, out, turns)[0].spec


def _original(path: Path) -> Path:
    """An original of 1920x1080 and one second: a ramp that moves, with a camera's noise; the same everywhere."""
    from rushlight.pipelines.formats.codecs import Tags, codec
    from rushlight.pipelines.formats.movie_format import MovieFormat
    from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes
    from rushlight.pipelines.formats.timecode import FrameRate
    from rushlight.pipelines.outputs.segment_writer import MovieWriter

    chosen = codec("prores-422")
    width, height = SIZE
    movie = MovieFormat(
        codec=chosen,
        container="mov",
        width=width,
        height=height,
        rate=FrameRate.parse("24"),
        tags=Tags(matrix=1, levels="narrow"),
    )
    pixel_format = find_pixel_format(chosen.pixel_format)
    assert pixel_format is not None
    random = np.random.default_rng(20)
    noise = random.normal(0.0, 6.0, (3, height, width + 64)).astype(np.float32)
    with MovieWriter(path, movie) as writer:
        for number in range(LENGTH):
            frame = new_frame(pixel_format, width, height)
            for k, plane in enumerate(planes(frame)):
                high, wide = plane.shape
                ramp = (
                    np.linspace(180.0, 700.0, wide, dtype=np.float32) if k == 0 else np.float32(512 - 40 * k)
                )
                values = np.roll(ramp, number * 8) if k == 0 else np.full(wide, ramp)
                plane[:] = np.clip(values + noise[k, :high, number : number + wide], 64, 940).astype(
                    np.uint16
                )
            writer.write(frame)
    return path
