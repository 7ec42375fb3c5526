"""A plan into jobs: what is missing or damaged with its turn's orders, and what burn-in may show of a clip."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from here import farm_here, run, small_day, write_list
from rushlight.batch.plan.clip import fields_of_clip
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.queue.filling import Turn
from rushlight.batch.records.day_title import DayTitle
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import jobs_of, make_folder
from rushlight.pipelines.burnin.text_fields import DAY_FIELDS
from rushlight.pipelines.errors import OptionError, OutsideError

pytestmark = pytest.mark.usefixtures("farm_here")
__all__ = ["farm_here"]


@pytest.fixture
def request_(tmp_path: Path) -> Request:
    small_day(tmp_path)
    rows = {"A001C001": {"scene": "4", "note": "tail"}, "A001C002": {}, "A001C009": {}}
    write_list(tmp_path / "day.csv", rows)
    return Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "two.toml"), out=tmp_path / "out")


def jobs(request: Request) -> tuple[list[Turn], list[PlannedClip], Prepared]:
    assert request.out is not None
    prepared = prepare(request)
    turns, settled, _ = jobs_of(prepared, request.out, EventStream())
    return turns, settled, prepared


def outputs(turns: list[Turn]) -> dict[str, list[str]]:
    return {turn.spec.clip: [o.output for o in turn.spec.outputs] for turn in turns}


def test_all_of_a_day_that_is_not_made(request_: Request) -> None:
    turns, settled, _ = jobs(request_)
    assert outputs(turns) == {f"A001C00{n}.mov": ["editorial", "viewing"] for n in (1, 2)}
    assert settled == []
    assert all(not turn.orders.kept_outputs and turn.orders.cost > 0 for turn in turns)


def test_what_is_there_is_left_and_what_is_missing_or_damaged_is_made(request_: Request) -> None:
    assert request_.out is not None
    assert run("render", request_.clip_list, "--recipe", request_.recipe, "--out", request_.out)[0] == 1
    turns, settled, _ = jobs(request_)
    assert (turns, [clip.row.clip for clip in settled]) == ([], ["A001C001.mov", "A001C002.mov"])
    (request_.out / "viewing" / "A001C001.mp4").unlink()
    with (request_.out / "editorial" / "A001C002.mov").open("ab") as file:
        file.write(b"more")
    turns, settled, _ = jobs(request_)
    assert outputs(turns) == {"A001C001.mov": ["viewing"], "A001C002.mov": ["editorial"]}
    assert [list(turn.orders.kept_outputs) for turn in turns] == [["editorial"], ["viewing"]]
    assert settled == []


def test_a_whole_hash_stands_in_the_record_where_it_is_asked_for(request_: Request) -> None:
    sampled = jobs(request_)[0][0].spec.source
    whole = jobs(replace(request_, hash_originals=True))[0][0].spec.source
    assert sampled != whole
    assert "xxh3_128:" in whole.model_dump_json() and "xxh3_128:" not in sampled.model_dump_json()


def test_fields_of_a_clip(request_: Request) -> None:
    prepared = jobs(request_)[2]
    fields = fields_of_clip(prepared.plan.clips[0], prepared.recipe)
    assert (fields["clip"], fields["scene"], fields["note"], fields["recipe"]) == (
        "A001C001",
        "4",
        "tail",
        "two",
    )
    assert (fields["camera"], fields["grade"], fields["look"]) == ("A", "no grade", "ACES 2.0")
    assert fields_of_clip(prepared.plan.clips[1], prepared.recipe)["scene"] == ""


def test_fields_of_the_day_and_a_row_that_overrules_them(request_: Request) -> None:
    title = DayTitle(production="The Lamp Room", day="12", unit="main")
    prepared = jobs(request_)[2]
    clip = prepared.plan.clips[0]
    fields = fields_of_clip(clip, prepared.recipe, title)
    assert [fields[n] for n in DAY_FIELDS] == ["The Lamp Room", "12", "main", title.text]
    assert fields["date"] == ""  # a shoot day is no date
    own = replace(clip, row=replace(clip.row, cells={**clip.row.cells, "unit": "second"}))
    fields = fields_of_clip(own, prepared.recipe, title)
    assert fields["unit"] == "second" and fields["day_title"] == "The Lamp Room, day 12, second unit"
    fields = fields_of_clip(own, prepared.recipe)  # no day: slate cards are as they were
    assert fields["unit"] == "second" and fields["day_title"] == ""


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OptionError, match="cannot be made"):
        make_folder(tmp_path / "file")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "log").symlink_to(tmp_path)
    with pytest.raises(OutsideError):
        make_folder(tmp_path / "out")
