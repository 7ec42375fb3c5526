"""One process, no farm: every segment of a job rendered in it, or the same frames transcoded bare.

    python -m tests.benchmarks.alone render|bare|grow LIST RECIPE MEDIA OUT [FRAMES]

`render` is the worker's own function. `bare` reads, resizes and encodes the same segments with the product's reader,
resizer and writers: no look, no burn-in, nothing measured or logged. `grow` renders over and over until FRAMES were
made and prints the process's memory in MB after every hundred or so. Prints JSON.
"""

from __future__ import annotations

import json
import resource
import shutil
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from typing import Any

import av

from rushlight.batch.looks.baked_looks import bake_looks
from rushlight.batch.plan.clip import fields_of_clip
from rushlight.batch.plan.jobs import Known, job_spec, output_specs
from rushlight.batch.plan.prepare import kept_fonts, prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.job.from_spec import movie_tags, opened_facts, segment_writer
from rushlight.pipelines.job.spec import JobSpec, MovieSpec
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.outputs.segment_writer import MovieWriter
from rushlight.pipelines.render.segment import render_segment
from rushlight.pipelines.render.threads import Ahead, Behind


def spec_of(clip_list: Path, recipe: str, media: Path, out: Path) -> JobSpec:
    """The job of the list's only clip, its look baked under `out`."""
    out.mkdir(parents=True, exist_ok=True)
    prepared = prepare(Request(clip_list=clip_list, recipe=recipe, media=(media,), out=out))
    clip = prepared.plan.clips[0]
    fields = fields_of_clip(clip, prepared.recipe)
    known = Known(source="", fields=fields, fonts=kept_fonts(prepared.recipe))
    outputs = output_specs(clip, prepared.recipe, known)
    spec = job_spec(
        clip, out=out, outputs=outputs, recipe=prepared.recipe, baked={}, fields=fields, hashes=("", "")
    )
    return bake_looks(out, [spec])[0]


def render(spec: JobSpec, token: str = "bench") -> None:
    payload = spec.model_dump(mode="json")
    for segment in spec.segments:
        render_segment(payload, segment.index, token)


def bare(spec: JobSpec) -> None:
    facts = opened_facts(spec.source)
    folder = Path(spec.out) / "bare"
    folder.mkdir(parents=True, exist_ok=True)
    for segment in spec.segments:
        movies: list[tuple[Any, MovieWriter]] = []
        for output in spec.outputs:
            if not isinstance(output, MovieSpec):
                continue
            writer = segment_writer(
                folder / f"{output.output}-{segment.index}.mov", spec, output, movie_tags(spec, output, facts)
            )
            sampler = partial(
                _resized, av.video.reformatter.VideoReformatter(), output, codec(output.codec).pixel_format
            )
            movies.append((sampler, writer))
        source = open_source(facts)
        with Ahead(source.frames(segment.first, segment.count)) as frames, Behind() as behind:
            for frame in frames:
                for sampler, writer in movies:
                    behind.do(partial(writer.write, sampler(frame.image)))
            behind.finish()
        for _, writer in movies:
            writer.close()
        source.close()


def _resized(reformatter: Any, output: MovieSpec, pixel_format: str, image: av.VideoFrame) -> av.VideoFrame:
    """By swscale in one step, as its plain use is: size and format together."""
    return reformatter.reformat(
        image,
        width=output.width,
        height=output.height,
        format=pixel_format,
        interpolation="BICUBIC",
        threads=1,
    )


def grow(spec: JobSpec, frames: int) -> list[tuple[int, float]]:
    """(frames made, resident MB) of this process, through so many frames."""
    made, found = 0, []
    payload = spec.model_dump(mode="json")
    while made < frames:
        for segment in spec.segments:
            render_segment(payload, segment.index, "grow")
            made += segment.count
            if segment.index % 2 == 0:
                found.append((made, _resident()))
        shutil.rmtree(Path(spec.out) / ".work", ignore_errors=True)
    return found


def _resident() -> float:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    what, clip_list, recipe, media, out = sys.argv[1:6]
    if what == "spec":
        shutil.rmtree(out, ignore_errors=True)
        Path(out).mkdir(parents=True)
        spec = spec_of(Path(clip_list), recipe, Path(media), Path(out))
        Path(out, "spec.json").write_text(spec.model_dump_json())
        return
    # Planned and baked in a process of its own, as in the product: this one is a worker and has a worker's memory.
    subprocess.run([sys.executable, "-m", __spec__.name, "spec", *sys.argv[2:6]], check=True)
    spec = JobSpec.model_validate_json(Path(out, "spec.json").read_text())
    render_segment(spec.model_dump(mode="json"), 0, "warm")  # compiled code loaded, libraries started
    shutil.rmtree(Path(out) / ".work", ignore_errors=True)
    wall, cpu = time.perf_counter(), time.process_time()
    found: dict[str, Any] = {}
    if what == "grow":
        found["memory"] = grow(spec, int(sys.argv[6]))
    else:
        (render if what == "render" else bare)(spec)
    found |= {"wall": time.perf_counter() - wall, "cpu": time.process_time() - cpu, "frames": spec.count}
    found["peak"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps(found))


if __name__ == "__main__":
    main()
