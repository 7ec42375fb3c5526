"""Jobs into a queue: what a row holds, and the queue of one output folder, which holds its own jobs and no others."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from here import small_day
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.queue.filling import (
    Turn,
    clear_work,
    fill_alone,
    originals_of,
    own_queue,
    queued_jobs,
)
from rushlight.batch.queue.store import Store, queue_of
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import jobs_of


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Turn]]:
    """Two clips of 4 and 6 frames, planned and not baked."""
    folder = tmp_path_factory.mktemp("filling")
    request = Request(clip_list=small_day(folder), recipe=str(folder / "two.toml"), out=folder / "out")
    return folder / "out", jobs_of(prepare(request), folder / "out", EventStream())[0]


@pytest.fixture
def store(made: tuple[Path, list[Turn]]) -> Iterator[Store]:
    out, _ = made
    with own_queue(out, lambda text: pytest.fail(text)) as store:
        yield store
    clear_work(out)


def test_a_row_holds_what_its_job_is(made: tuple[Path, list[Turn]]) -> None:
    out, turns = made
    rows = queued_jobs(out, turns, suffix="@there", priority=3)
    assert [(row.clip, row.state, row.priority, row.frames, row.added) for row in rows] == [
        ("A001C001.mov", "queued", 3, 4, 0.0),
        ("A001C002.mov", "queued", 3, 6, 1.0),
    ]
    assert all(row.key.startswith(f"{turn.spec.job}@there/") for row, turn in zip(rows, turns, strict=True))
    assert originals_of(rows) == [out.parent / "A001C001.mov", out.parent / "A001C002.mov"]
    later = replace(turns[0], orders=replace_rank(turns[0], 1))
    assert queued_jobs(out, [later])[0].key == queued_jobs(out, [turns[0]])[0].key + "+1"


def replace_rank(turn: Turn, rank: int):  # type: ignore[no-untyped-def]
    return turn.orders.model_copy(update={"rank": rank})


def test_it_holds_these_jobs_and_no_others(made: tuple[Path, list[Turn]], store: Store) -> None:
    out, turns = made
    strange = [replace(row, key=f"strange-{row.key}") for row in queued_jobs(out, turns)]
    store.add(strange)
    fill_alone(store, out, turns)
    assert {row.key for row in store.rows()} == {row.key for row in queued_jobs(out, turns)}
    fill_alone(store, out, turns[:1])
    assert [row.clip for row in store.rows()] == ["A001C001.mov"]


def test_another_job_under_the_same_name_is_replaced(made: tuple[Path, list[Turn]], store: Store) -> None:
    """Also where it stands there as running, with segments made."""
    out, turns = made
    row = queued_jobs(out, turns[:1])[0]
    other = replace(row, payload={**row.payload, "clip": "another.mov"})
    store.add([other])
    store.set_state(row.key, row.identity, "running")
    fill_alone(store, out, turns[:1])
    plan = store.plan(row.key, row.identity)
    assert plan is not None and plan.plain() == row.payload
    assert [r.state for r in store.rows()] == ["queued"]


def test_a_damaged_queue_is_put_aside_and_said(made: tuple[Path, list[Turn]]) -> None:
    out, turns = made
    with own_queue(out, lambda text: pytest.fail(text)) as store:
        fill_alone(store, out, turns)
    path = queue_of(out)
    path.write_bytes(b"SQLite format 3\0" + b"\xff" * 4000)
    said: list[str] = []
    with own_queue(out, said.append) as store:
        assert store.rows() == []
    assert len(said) == 1 and "put aside as" in said[0]
    assert path.with_name(f"{path.name}.damaged").exists()
    clear_work(out)
    assert not (out / ".work").exists()
