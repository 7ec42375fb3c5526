"""A segment's pictures set up from its job: what is seen alike is graded once, and what was begun goes where it fails."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

import pytest

from here import write_list
from pictures import numbered, write_movie
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import baked, jobs_of
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.grading.kernel import grade_rows
from rushlight.pipelines.job.exact_signal import Signal
from rushlight.pipelines.job.from_spec import opened_facts
from rushlight.pipelines.job.spec import JobSpec, MovieSpec
from rushlight.pipelines.render.segment_pictures import SegmentPictures

MOVIE = '[[output]]\nname = "{}"\nmake = "movie"\ncodec = "{}"\ncontainer = "mov"\nsize = "{}"\n'
BURNIN = '[output.burnin]\ntext = [{ at = "bottom", text = "{timecode}", size = 0.1 }]\n'
RECIPE = "\n".join(
    [
        MOVIE.format("editorial", "prores-proxy", "64x36"),
        MOVIE.format("viewing", "prores-proxy", "64x36") + BURNIN,
        MOVIE.format("small", "prores-proxy", "32x18"),
        MOVIE.format("flat", "prores-proxy", "64x36") + 'state = "log"\n',
    ]
)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobSpec:
    folder = tmp_path_factory.mktemp("pictures")
    write_movie(folder / "A001C001.mov", [numbered(0)], timecode="01:00:00:00")
    (folder / "r.toml").write_text(RECIPE)
    clips = write_list(folder / "day.csv", {"A001C001": {}})
    prepared = prepare(Request(clip_list=clips, recipe=str(folder / "r.toml"), out=folder / "out"))
    return baked(prepared, folder / "out", jobs_of(prepared, folder / "out", EventStream())[0])[0].spec


def set_up(job: JobSpec, stack: ExitStack) -> SegmentPictures:
    facts = opened_facts(job.source)
    return SegmentPictures(
        job,
        job.segments[0],
        [output for output in job.outputs if isinstance(output, MovieSpec)],
        facts=facts,
        signal=Signal(job, facts),
        start=Timecode.parse(job.timecode, FrameRate.parse(job.rate)),
        token="token",
        stack=stack,
        threads=1,
        rows=grade_rows,
    )


def test_movies_that_differ_in_what_is_drawn_alone_share_a_picture(job: JobSpec) -> None:
    with ExitStack() as stack:
        made = set_up(job, stack)
        shown = {tuple(m.spec.output for m in p.movies): p for p in made.pictures}
        assert set(shown) == {("editorial", "viewing"), ("small",), ("flat",)}
        assert shown["flat",].grader.baked is None
        assert shown["small",].grader.baked is shown["editorial", "viewing"].grader.baked
        assert [m.painter is not None for m in shown["editorial", "viewing"].movies] == [False, True]


def test_what_was_begun_goes_with_a_segment_that_fails(job: JobSpec) -> None:
    with pytest.raises(ZeroDivisionError), ExitStack() as stack:
        made = set_up(job, stack)
        begun = [Path(job.out) / movie.temporary for p in made.pictures for movie in p.movies]
        assert all(path.name.endswith(".token.part") for path in begun)
        raise ZeroDivisionError
    assert len(begun) == 4 and not any(path.exists() for path in begun)
