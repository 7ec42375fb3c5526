"""Files of many clips named by template: none is another's, of any list of the folder, and what went otherwise is said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pictures import numbered, write_movie
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.plan.request_ledger import keep_asking
from rushlight.batch.queue.filling import queued_jobs
from rushlight.batch.records.day_title import DayTitle
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import jobs_of
from rushlight.batch.run.request_accounts import asking_of
from rushlight.pipelines.errors import RecipeError

MOVIE = '[[output]]\nname = "e"\nmake = "movie"\ncodec = "prores-proxy"\nsize = "64x36"\n'
ROWS = ("A001C001", "A"), ("A001C002", "A"), ("B001C001", "B")


@pytest.fixture(scope="module")
def media(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("media")
    for number, place in enumerate(("A001C001", "A001C002", "B001C001", "one/C0001", "two/C0001")):
        path = folder / f"{place}.mov"
        path.parent.mkdir(exist_ok=True)
        write_movie(path, [numbered(number)], reel=f"R{number}", timecode=f"0{number}:00:00:00")
    return folder


@pytest.fixture
def request_(media: Path, tmp_path: Path) -> Request:
    (tmp_path / "out").mkdir()
    return Request(
        clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"), media=(media,), out=tmp_path / "out"
    )


def plan(request: Request, names: str, *rows: str, columns: str = "scene,take,camera,day") -> Prepared:
    Path(request.recipe).write_text(MOVIE + names)
    lines = [
        f"clip,encoding,levels,{columns}",
        *(f"{row.partition(',')[0]},LogC3,narrow,{row.partition(',')[2]}" for row in rows),
    ]
    request.clip_list.write_text("\n".join(lines) + "\n")
    return prepare(request)


def paths(prepared: Prepared) -> list[str]:
    return [
        path
        for clip in prepared.plan.clips
        for name, names in clip.names.items()
        for path in names.paths(name)
    ]


def test_rows_and_the_day_fill_templates_in(request_: Request) -> None:
    names = (
        'path = "{production}/{day:%y%m%d}/{camera}"\nfile = "{number:3}_{scene}_{take:2}_{reel}_{timecode}"'
    )
    titled = replace(request_, title=DayTitle(production="The Lamp: Room", day="2026-05-04"))
    rows = ("A001C001.mov,12/3,4,A,", "B001C001.mov,,,,2026-05-05")
    assert paths(plan(titled, names, *rows)) == [
        "e/The Lamp_ Room/260504/A/001_12_3_04_R0_00.00.00.00.mov",
        "e/The Lamp_ Room/260505/R/002_R2_02.00.00.00.mov",
    ]


def test_an_output_without_templates_has_no_names_of_them(request_: Request) -> None:
    assert plan(request_, "", "A001C001.mov,1,1,A,").plan.clips[0].names == {}


def test_what_meets_is_parted_and_said(request_: Request) -> None:
    found = plan(
        request_,
        'file = "{scene}_{take}"',
        "A001C001.mov,1a,1,,",
        "A001C002.mov,1A,1,,",
        "B001C001.mov,2,1,,",
    )
    assert paths(found) == ["e/1a_1.mov", "e/1A_1_A001C002.mov", "e/2_1.mov"]
    said = [clip.warnings for clip in found.plan.clips]
    assert (
        "e: the template gives e/1A_1.mov, which is A001C001.mov's as well; this clip's is e/1A_1_A001C002.mov"
        in said[1][-1]
    )
    assert not any("template" in text for text in (*said[0], *said[2]))


def test_equal_clip_names_that_would_meet_go_to_reel_folders(request_: Request) -> None:
    rows = ("one/C0001.mov,1,1,A,", "two/C0001.mov,1,1,A,")
    assert paths(plan(request_, 'path = "{camera}"', *rows)) == ["e/A/R3/C0001.mov", "e/A/R4/C0001.mov"]
    assert paths(plan(request_, 'path = "{reel}"', *rows)) == ["e/R3/C0001.mov", "e/R4/C0001.mov"]


def test_a_name_of_another_list_of_the_folder_is_taken(request_: Request, tmp_path: Path) -> None:
    """Before anything is made: two lists in a queue do not meet."""
    first = plan(request_, 'file = "{scene}"', "A001C001.mov,1,1,A,")
    assert request_.out and (keep_asking(request_.out, asking_of(first)) is None)
    other = replace(request_, clip_list=tmp_path / "other.csv")
    found = plan(other, 'file = "{scene}"', "A001C002.mov,1,1,A,")
    assert (
        paths(found) == ["e/1_A001C002.mov"] and "A001C001.mov's as well" in found.plan.clips[0].warnings[-1]
    )
    assert paths(plan(other, 'file = "{scene}"', "A001C001.mov,1,1,A,")) == [
        "e/1.mov"
    ]  # the same clip keeps its place


def test_a_clip_that_can_have_no_name_is_set_aside(request_: Request, tmp_path: Path) -> None:
    first = plan(request_, 'file = "C0001"', "A001C001.mov,1,1,A,")
    assert request_.out
    keep_asking(
        request_.out,
        replace(
            asking_of(first), rows=(replace(asking_of(first).rows[0], files=("e/x.mov", "e/x_A001C002.mov")),)
        ),
    )
    other = replace(request_, clip_list=tmp_path / "other.csv")
    found = plan(other, 'file = "x"', "A001C002.mov,1,1,A,", "B001C001.mov,1,1,A,")
    ((row, error),) = found.plan.wrong
    assert (row.clip, error.key, error.file) == ("A001C002.mov", "output[0].file", other.recipe)
    assert "e/x.mov is the name of A001C001.mov's file already" in error.text and "{clip}" in error.text
    assert paths(found) == ["e/x_B001C001.mov"]


def test_a_field_that_there_is_none_of_is_told_by_its_key(request_: Request) -> None:
    with pytest.raises(RecipeError) as raised:
        plan(request_, 'path = "{camra}"', "A001C001.mov,1,1,A,")
    assert (
        raised.value.key == "output[0].path"
        and "did you mean {camera}?" in raised.value.text
        and "{number}" in raised.value.text
    )
    assert raised.value.file == request_.recipe
    found = plan(request_, 'file = "{colour_of_hat}"', "A001C001.mov,red", columns="colour of hat")
    assert paths(found) == ["e/red.mov"]


def test_a_day_that_is_no_date_is_said_once(request_: Request) -> None:
    rows = [f"{clip}.mov,,,{camera},day 3" for clip, camera in ROWS]
    found = plan(request_, 'path = "{day:%y%m%d}"', *rows)
    assert paths(found)[0] == "e/day 3/A001C001.mov"
    said = [text for text in found.plan.warnings if "needs a date" in text]
    assert said == [
        "output[0]: {day:%y%m%d} needs a date such as 2026-05-04, not 'day 3', which stands as it is (A001C001.mov and 2 more)"
    ]


def test_a_queued_job_is_told_by_its_names(request_: Request) -> None:
    """A scene that changes while a clip waits in the queue: it is made under the new name."""
    assert request_.out

    def identity(names: str, scene: str) -> str:
        prepared = plan(request_, names, f"A001C001.mov,{scene},1,A,")
        (job,) = queued_jobs(
            request_.out or Path(), jobs_of(prepared, request_.out or Path(), EventStream())[0]
        )
        return job.identity

    assert identity("", "1") == identity("", "2")
    assert (
        identity('file = "{scene}"', "1")
        == identity('file = "{scene}"', "1")
        != identity('file = "{scene}"', "2")
    )
