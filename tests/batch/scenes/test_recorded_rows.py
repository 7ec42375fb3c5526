"""What came later is recorded; what a person had typed is not lost; what its source takes back goes."""

from __future__ import annotations

from collections.abc import Mapping

from rushlight.batch.job_log import failure_record
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.original import CameraFact
from rushlight.batch.scenes.recorded_rows import renewed


def recorded(cells: Mapping[str, str], **row_from: str) -> JobRecord:
    record = failure_record("A001-1", "A001.mov", "failed", "")
    return record.model_copy(update={"row": dict(cells), "row_from": row_from})


def row(cells: Mapping[str, str], **filled: str) -> Row:
    return Row(file="day.toml", line=1, clip="A001.mov", cells={"clip": "A001.mov", **cells}, filled=filled)


def test_what_came_later() -> None:
    record = recorded({"clip": "A001.mov", "weather": "rain"})
    new = renewed(record, row({"scene": "12", "take": "3"}, scene="t.csv:2", take="t.csv:2"))
    assert new.row == {"clip": "A001.mov", "weather": "rain", "scene": "12", "take": "3"}
    assert new.row_from == {"scene": "t.csv:2", "take": "t.csv:2"}
    assert renewed(new, row({"scene": "12", "take": "3"}, scene="t.csv:2", take="t.csv:2")) is new


def test_another_list_that_says_nothing_takes_nothing_away() -> None:
    record = recorded({"clip": "A001.mov", "scene": "12"})
    assert renewed(record, row({})) is record


def test_what_its_source_takes_back_goes() -> None:
    record = recorded({"clip": "A001.mov", "scene": "12"}, scene="t.csv:2")
    new = renewed(record, row({}))
    assert new.row == {"clip": "A001.mov"} and new.row_from == {}


def test_an_exposure_index_that_its_source_takes_back_is_no_defaults() -> None:
    for said_by, left in (("t.csv:2", {}), ("day.toml", {"iso": "800"})):
        record = recorded({"clip": "A001.mov", "iso": "800", "scene": "1"}, iso="t.csv:2", scene="t.csv:2")
        facts = {"iso": CameraFact(value="800", said_by=said_by)}
        new = renewed(record.model_copy(update={"camera_facts": facts}), row({}))
        assert {name: fact.value for name, fact in new.camera_facts.items()} == left


def test_a_person_who_states_it_takes_the_tables_place() -> None:
    record = recorded({"scene": "12"}, scene="t.csv:2")
    new = renewed(record, row({"scene": "12"}))
    assert new.row == {"scene": "12"} and new.row_from == {}


def test_a_record_of_an_earlier_version() -> None:
    record = failure_record("A001-1", "A001.mov", "failed", "")
    assert renewed(record, row({})) is record
