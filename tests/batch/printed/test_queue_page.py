"""`queue list`: what needs a person first, how far each clip is, why it stands where it does, who runs it and when it ends."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.queue.locks import hold_queue
from rushlight.batch.queue.store import open_store
from rushlight.batch.records.queue_row import SegmentResult

CLIPS = {"A001C001": 4, "A001C002": 6, "A001C003": 8}


@pytest.fixture
def queue(tmp_path: Path) -> Path:
    """A queue of three clips: one of priority 5, one that failed, one that waits."""
    day = small_day(tmp_path / "day", CLIPS)
    queue, recipe = tmp_path / "q.sqlite", tmp_path / "day" / "two.toml"
    add = ("queue", "add", day, "--recipe", recipe, "--queue", queue, "--out", tmp_path / "out")
    assert run(*add)[0] == 0
    assert run(*add, "--only", "clip=A001C001.mov", "--priority", "5")[0] == 0
    with open_store(queue) as store:
        row = next(r for r in store.rows() if r.clip == "A001C002.mov")
        store.set_state(row.key, row.identity, "running")
        store.set_state(row.key, row.identity, "failed", error="its codec is not one of these")
    return queue


def listed(queue: Path) -> tuple[str, list[list[str]]]:
    code, said = run("queue", "list", "--queue", queue)
    assert code == 0
    return said, [line.split() for line in said.splitlines()]


def test_what_needs_a_person_stands_first(queue: Path) -> None:
    said, lines = listed(queue)
    assert said.startswith("FAILED  A001C002.mov: its codec is not one of these\nrushlight queue retry")
    assert ["1", "A001C001.mov", "queued", "-", "4", "priority", "5,", "then", "the", "longest"] in lines
    assert ["2", "A001C003.mov", "queued", "-", "8", "the", "longest"] in lines
    assert "2 queued, 1 failed" in said and "nobody runs it: rushlight queue run" in said


def test_who_runs_it_and_how_far_it_is(queue: Path) -> None:
    with open_store(queue) as store:
        row = next(r for r in store.rows() if r.clip == "A001C003.mov")
        store.set_state(row.key, row.identity, "running")
        store.keep_segments([(row.key, row.identity, 0, SegmentResult(frames=5))])
        store.keep_segments([(row.key, "another", 1, SegmentResult(frames=3))])  # of a revision that is gone
        assert store.frames_made() == {row.key: 5}
    with hold_queue(queue):
        said, lines = listed(queue)
        assert ["2", "A001C003.mov", "running", "62", "%", "8", "the", "longest"] in lines
        assert f"run by process {os.getpid()} on" in said and "ends at" not in said
    document = json.loads(run("queue", "list", "--json", "--queue", queue)[1])
    assert [(r["clip"], r["made"]) for r in document] == [
        ("A001C001.mov", 0),
        ("A001C003.mov", 5),
        ("A001C002.mov", 0),
    ]


def test_the_end_is_the_runs_own_forecast(queue: Path, tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    """A run writes it into the folder's now.json; it is shown only while somebody runs the queue."""
    assert run("queue", "run", "--queue", queue)[0] in (0, 1)
    state = tmp_path / "out" / "report" / "now.json"
    document = json.loads(state.read_text())
    ends = (datetime.now(UTC) + timedelta(hours=2)).replace(microsecond=0)
    state.write_text(json.dumps(document | {"phase": "rendering", "ends": ends.isoformat()}))
    assert "ends at" not in listed(queue)[0]
    with hold_queue(queue):
        assert f"ends at about {ends.astimezone():%H:%M}" in " ".join(listed(queue)[0].split())
        state.write_text("{")
        assert "ends at" not in listed(queue)[0]


def test_an_empty_queue(tmp_path: Path) -> None:
    code, said = run("queue", "list", "--queue", tmp_path / "q.sqlite")
    assert code == 0 and "is empty" in said


def test_parts_of_clips_are_told_from_clips_in_the_sums(tmp_path: Path) -> None:
    day = small_day(tmp_path / "day", {"A001C001": 2})
    recipe, queue = tmp_path / "day" / "two.toml", tmp_path / "q.sqlite"
    recipe.write_text('first = ["editorial"]\n' + recipe.read_text())
    assert run("queue", "add", day, "--recipe", recipe, "--queue", queue, "--out", tmp_path / "out")[0] == 0
    assert "\n1 clip in 2 parts: 2 queued\n" in listed(queue)[0]
