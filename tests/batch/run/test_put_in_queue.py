"""Lists into a queue: what waits for a grade, what is left as it stands, and what is said once."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from here import HereFarm, farm_here, run, small_day, write_list  # noqa: F401
from rushlight.batch.interrupts import Stop
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.queue.store import Store, open_store
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.put_in_queue import Added, plan_again, put_in, read_list

GRADE = "id,saturation\nA001C001,0.5\n"


class Adding:
    """A small day whose list is read again and again into one queue, as a watched day is."""

    def __init__(self, folder: Path, store: Store) -> None:
        self.store, self.told = store, list[dict[str, Any]]()
        self.events = EventStream(self.told.append)
        self.list = small_day(folder)
        self.grades = folder / "grades.csv"
        self.request = Request(clip_list=self.list, recipe=str(folder / "two.toml"), out=folder / "out")
        self.added = Added()

    def read(self, *, leave: Collection[str] = (), wait: bool = False) -> dict[str, str]:
        grades = (self.grades,) if self.grades.exists() else ()
        request = Request(**{**vars(self.request), "grades": grades, "wait_for_grade": wait})
        with_all = prepare(request)
        put_in(self.store, request, with_all, None, 0, self.events, leave=leave, added=self.added)
        return {row.clip.partition(".")[0]: row.state for row in self.store.rows()}

    def said(self, event: str) -> list[str]:
        return [str(e.get("clip") or e.get("text")) for e in self.told if e["event"] == event]

    def counts(self) -> tuple[int, int, int, int]:
        """What was said last of the queue: clips, and how many were unchanged, set aside, failed."""
        last = [e for e in self.told if e["event"] == "queued"][-1]
        return last["clips"], last["unchanged"], last["set_aside"], last["failed"]


@pytest.fixture
def adding(tmp_path: Path) -> Any:
    with open_store(tmp_path / "q.sqlite") as store:
        yield Adding(tmp_path, store)


def test_a_clip_without_a_grade_waits_for_one_and_is_said_to_once(adding: Adding) -> None:
    adding.grades.write_text(GRADE)
    assert adding.read(wait=True) == {"A001C001": "queued"}
    assert adding.said("waits for a grade") == ["A001C002.mov"]
    adding.read(wait=True)
    assert adding.said("waits for a grade") == ["A001C002.mov"]
    adding.grades.write_text(GRADE + "A001C002,0.5\n")
    assert adding.read(wait=True) == {"A001C001": "queued", "A001C002": "queued"}
    assert adding.added.no_grade == {}


def test_one_that_waits_is_still_asked_for(adding: Adding) -> None:
    from rushlight.batch.run.request_accounts import day_in

    assert adding.read(wait=True) == {}
    assert day_in(adding.request.out or Path()).counts()["not_yet"] == 2


def test_a_failed_job_is_left_alone_and_a_queued_one_takes_the_new_plan(adding: Adding) -> None:
    adding.read()
    rows = {row.clip: row for row in adding.store.rows()}
    failed = rows["A001C001.mov"]
    adding.store.set_state(failed.key, failed.identity, "failed", error="odd")
    moved = adding.list.parent / "moved"
    moved.mkdir()
    (adding.list.parent / "A001C002.mov").rename(moved / "A001C002.mov")
    adding.request = Request(**{**vars(adding.request), "media": (moved,)})
    assert adding.read(leave=("failed",)) == {"A001C001": "failed", "A001C002": "queued"}
    row = next(row for row in adding.store.rows() if row.clip == "A001C002.mov")
    plan = adding.store.plan(row.key, row.identity)
    assert plan and plan.source.path == str(moved / "A001C002.mov")


def test_clips_that_were_made_since_they_were_queued_count_once(
    adding: Adding,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    first, day = adding.list.parent / "first.csv", adding.list
    first.write_text("\n".join(day.read_text().splitlines()[:2]) + "\n")
    assert first.read_text().count("A001C") == 1
    adding.request = Request(**{**vars(adding.request), "clip_list": first})
    adding.read()
    assert adding.counts() == (1, 0, 0, 0)
    code, _ = run("render", first, "--recipe", day.parent / "two.toml", "--out", day.parent / "out")
    assert code == 0
    adding.request = Request(**{**vars(adding.request), "clip_list": day})
    adding.read()
    assert adding.counts() == (1, 1, 0, 0)


def test_rows_that_are_wrong_and_originals_that_do_not_open_are_counted_as_the_queue_lists_them(
    adding: Adding,
) -> None:
    (adding.list.parent / "A001C002.mov").write_bytes(b"no movie at all")
    with adding.list.open("a") as stream:
        stream.write("A009C009.mov,LogC3,narrow\n")
    states = adding.read()
    assert adding.counts() == (1, 0, 1, 1)
    assert states == {"A001C001": "queued", "A001C002": "failed", "A009C009": "set aside"}


def test_a_warning_is_said_once_however_often_a_list_is_read(adding: Adding) -> None:
    write_list(adding.list, {"A001C001": {"sceene": "1"}})
    adding.read()
    warned = adding.said("warning")
    assert sum("`scene` meant" in text for text in warned) == 1
    adding.read()
    assert adding.said("warning") == warned


def test_a_list_is_read_until_nothing_of_it_grows(adding: Adding) -> None:
    with (adding.list).open("a") as stream:
        stream.write("A009C009.mov,LogC3,narrow\n")
    assert read_list(adding.store, adding.request, 0, adding.events, Stop()) == 1
    assert len(adding.said("problem")) == 1 and "A009C009" in adding.said("problem")[0]


def test_what_waits_already_is_counted_and_what_was_tampered_with_costs_nobody_else(
    adding: Adding, tmp_path: Path
) -> None:
    """Rows that do not read, or name files outside, fail when their turn comes; the room of the others is counted all the same."""
    adding.read()
    store = adding.store
    waiting = list(adding.added.ahead.waiting())
    assert sorted((item.job.partition("-")[0], item.frames, len(item.outputs)) for item in waiting) == [
        ("A001C001", 4, 2),
        ("A001C002", 6, 2),
    ]
    with sqlite3.connect(store.path) as db:
        [(payload,)] = db.execute("SELECT payload FROM job WHERE clip='A001C001.mov'")
        outside = payload.replace('"folder": "editorial"', '"folder": "../editorial"')
        assert outside != payload
        for clip, text in (("A001C001.mov", outside), ("A001C002.mov", '{"torn')):
            db.execute("UPDATE job SET payload=? WHERE clip=?", (text, clip))
    assert list(adding.added.ahead.waiting()) == []
    write_list(tmp_path / "day.csv", {"A001C002": {"slope": "1.1 1 1"}})
    adding.read()
    [item] = adding.added.ahead.waiting()
    assert item.job.startswith("A001C002")


def test_a_folder_that_keeps_no_request_costs_its_changed_clips_and_not_the_run(adding: Adding) -> None:
    adding.read()
    (adding.request.out / "log" / "inputs" / "requests.jsonl").unlink()  # type: ignore[operator]
    plans = {row.key: adding.store.plan(row.key, row.identity) for row in adding.store.rows("queued")}
    jobs = [replace(row, payload=plan.plain()) for row in adding.store.rows() if (plan := plans[row.key])]
    plan_again(adding.store, jobs, adding.events, Room(adding.events, Stop(), patient=False))
    assert {row.state for row in adding.store.rows()} == {"failed"}
    assert "cannot be planned again" in adding.said("problem")[-1]
