"""Stills of a segment: the exact look of the frames that are asked for, padded, whole or not at all, each with its digest."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from here import write_list
from pictures import numbered, write_movie
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import jobs_of
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.job import exact_signal
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import build_look, opened_facts
from rushlight.pipelines.job.spec import JobSpec, StillsSpec
from rushlight.pipelines.render import segment_stills
from rushlight.pipelines.render.segment_stills import SegmentStills

FLOAT = find_pixel_format("gbrpf32le")
assert FLOAT is not None
RECIPE = """
[[output]]
name = "stills"
make = "stills"
at = ["first", "last"]
kinds = ["png16", "exr"]
size = "160x160"
[[output]]
name = "flat"
make = "stills"
at = ["first"]
kinds = ["png16"]
state = "log"
"""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobSpec:
    """A clip of three frames of 128x72; stills of the first and the last."""
    folder = tmp_path_factory.mktemp("stills")
    write_movie(folder / "A001C001.mov", [numbered(n) for n in range(3)], timecode="01:00:00:00")
    (folder / "r.toml").write_text(RECIPE)
    clips = write_list(folder / "day.csv", {"A001C001": {}})
    prepared = prepare(Request(clip_list=clips, recipe=str(folder / "r.toml"), out=folder / "out"))
    (turn,) = jobs_of(prepared, folder / "out", EventStream())[0]
    return turn.spec


def taken(job: JobSpec, *, counted: bool = True) -> SegmentStills:
    """All frames of the clip handed over."""
    facts = opened_facts(job.source)
    start = Timecode.parse(job.timecode, FrameRate.parse(job.rate))
    look = build_look(job.look, Path(job.out))
    stills = SegmentStills(
        job,
        facts,
        Signal(job, facts),
        start,
        "token",
        lambda spec: look,
        counted=counted,
    )
    with av.open(job.source.path) as movie:
        for number, image in enumerate(movie.decode(video=0)):
            stills.take(image, number)
    return stills


def written(job: JobSpec) -> set[str]:
    return {
        p.relative_to(job.out).as_posix() for p in Path(job.out).rglob("*") if p.suffix in (".png", ".exr")
    }


def test_the_frames_that_are_asked_for_and_no_others(job: JobSpec) -> None:
    made = taken(job).made
    assert {name: [(e["kind"], e["frame"]) for e in entries] for name, entries in made.items()} == {
        "stills": [("png16", 0), ("exr", 0), ("png16", 2), ("exr", 2)],
        "flat": [("png16", 0)],
    }
    files = {entry["file"] for entries in made.values() for entry in entries}
    assert {Path(name).name for name in written(job)} == {Path(name).name for name in files}
    assert not list(Path(job.out).rglob("*.part*"))


def test_the_picture_sits_in_its_raster_and_only_a_shown_one_has_tiles(job: JobSpec) -> None:
    made = taken(job).made
    shown, light = made["stills"][:2]
    assert shown["picture"] == light["picture"] == [0, 36, 160, 90]
    assert made["flat"][0]["picture"] == [0, 0, 128, 72]
    assert "tiles" in shown and "tiles" not in light and "tiles" not in made["flat"][0]


def test_a_still_holds_the_exact_look(job: JobSpec) -> None:
    """Read back from the file: black beside the picture, and in it the look of the fitted signal."""
    import OpenImageIO as oiio

    stills = taken(job)
    spec = next(o for o in job.outputs if isinstance(o, StillsSpec) and o.output == "stills")
    entry = stills.made["stills"][0]
    path = next(
        p for p in Path(job.out).rglob("*.png") if p.name == Path(entry["file"]).name and "flat" not in str(p)
    )
    picture = oiio.ImageBuf(str(path)).get_pixels(oiio.UINT16).astype(float) / 65535
    assert picture.shape[:2] == (spec.height, spec.width)
    assert (picture[:36] == 0).all() and (picture[126:] == 0).all()
    with av.open(job.source.path) as movie:
        image = next(movie.decode(video=0))
    fit = segment_stills.fit_of(spec.frame, spec.width, spec.height, stills.facts)
    exact = stills.look(job.look).evaluate(stills.signal.fitted(image, fit)[0], "graded")
    assert np.abs(picture[36:126] - np.clip(exact, 0, 1)).max() <= 0.6 / 65535


def test_the_same_pictures_have_the_same_digest(job: JobSpec) -> None:
    first, again = taken(job).made, taken(job).made
    assert first == again
    digests = [entry["digest"] for entries in first.values() for entry in entries]
    assert len(set(digests)) == len(digests)


def test_what_is_out_of_range_is_counted_once_a_frame_and_raster_where_no_movie_counts(job: JobSpec) -> None:
    assert taken(job).seen["pixels"] == 2 * 160 * 90 + 128 * 72
    assert not taken(job, counted=False).seen


def test_a_still_that_cannot_be_written_leaves_nothing_half(
    job: JobSpec, monkeypatch: pytest.MonkeyPatch
) -> None:
    for path in Path(job.out).rglob("*.png"):
        path.unlink()

    def half(path: Path, *_: Any, **__: Any) -> None:
        Path(path).write_bytes(b"half")
        raise DeliveryError("is short", file=str(path))

    monkeypatch.setattr(segment_stills, "write_still", half)
    with pytest.raises(DeliveryError):
        taken(job)
    assert not [name for name in written(job) if name.endswith(".png")]
    assert not list(Path(job.out).rglob("*.part*"))


def test_stills_do_not_depend_on_how_many_rows_are_evaluated_at_a_time(
    job: JobSpec, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Files and records, of display values and scene light, in bands that do and do not divide the picture."""
    found = []
    for rows in (1, 7, 64, 90):
        monkeypatch.setattr(segment_stills, "BAND", rows)
        made = taken(job).made
        files = {name: (Path(job.out) / name).read_bytes() for name in sorted(written(job))}
        found.append((made, files))
    assert all(each == found[0] for each in found) and len(found[0][1]) == 5


def test_scene_light_becomes_the_same_signal_in_bands_and_whole(
    job: JobSpec, monkeypatch: pytest.MonkeyPatch
) -> None:
    facts = replace(opened_facts(job.source), pixel_format=FLOAT, width=48, height=37)
    light = job.model_copy(update={"look": job.look.model_copy(update={"encoding": "ACEScg"})})
    frame, found = new_frame(FLOAT, 48, 37), []
    for k, plane in enumerate(planes(frame)):
        plane[:] = np.random.default_rng(k).lognormal(-2, 2, plane.shape)
    planes(frame)[0][5, 3:6] = np.nan, np.inf, -np.inf
    for rows in (1, 16, 37):
        monkeypatch.setattr(exact_signal, "BAND", rows)
        found.append(b"".join(p.tobytes() for p in planes(Signal(light, facts).working(frame))))
    assert len(set(found)) == 1
