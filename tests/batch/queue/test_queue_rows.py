"""A queue's file after whatever became of it: what is of something else is refused, one damaged row costs that row."""

import random
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from here import HereFarm
from rushlight.batch.queue.queue_rows import DamagedRow, plan_of, segment_of
from rushlight.batch.queue.store import QueuedJob, Store, open_store
from rushlight.batch.records.queue_row import SegmentResult
from rushlight.batch.run.events import Event, Work
from rushlight.batch.run.runner import run
from rushlight.pipelines.errors import QueueError, RushlightError

TOYS = Work(segment="toywork:segment", finish="toywork:finish")


def job(out: Path, name: str) -> QueuedJob:
    payload = {"job": name, "out": str(out), "source": {"path": name}, "record": {}}
    return QueuedJob(
        key=name,
        out=str(out),
        clip=f"{name}.mov",
        state="queued",
        priority=0,
        identity="i",
        frames=1,
        added=0.0,
        payload=payload | {"segments": [{"index": 0, "count": 1}]},
    )


@pytest.fixture()
def queue(tmp_path: Path) -> Path:
    """A queue of three jobs."""
    path = tmp_path / "q.sqlite"
    with open_store(path) as store:
        store.add([job(tmp_path, name) for name in "abc"])
    return path


def changed(queue: Path, statement: str, *values: Any) -> None:
    with sqlite3.connect(queue) as db:
        db.execute(statement, values)
    db.close()


ODD = {
    "a state nobody knows": ("state", "dreaming", "state is 'dreaming'"),
    "a state of bytes": ("state", b"\xff\x00", "state is b'"),
    "a priority of text": ("priority", "high", "priority is 'high', where int is needed"),
    "a priority beyond all": ("priority", 2**62, "priority is 4611686018427387904"),
    "frames of half": ("frames", 1.5, "frames is 1.5"),
    "a moment without end": ("added", float("inf"), "added is inf"),
    "a folder of bytes": ("out", b"/tmp", "out is b'/tmp'"),
    "no clip": ("clip", "", "clip is ''"),
    "a clip of bytes": ("clip", b"\x00", "clip is b'"),
    "attempts of text": ("attempts", "x", "attempts is 'x'"),
    "orders that are torn": ("orders", "{", "orders is torn or damaged at character 2"),
    "orders that are a list": ("orders", "[]", "orders is no JSON object"),
    "orders of another kind": ("orders", '{"kept_outputs": "all"}', "orders.kept_outputs: is damaged"),
    "an order nobody knows": ("orders", '{"replaced": "burn"}', "orders.replaced: is damaged"),
}


@pytest.mark.parametrize("what", ODD)
def test_a_damaged_row_costs_itself(what: str, queue: Path, tmp_path: Path) -> None:
    column, value, says = ODD[what]
    changed(queue, f"UPDATE job SET {column}=? WHERE key='b'", value)
    with open_store(queue) as store:
        store.run_alone()
        assert [row.key for row in store.rows()] == ["a", "c"]
        ((key, text),) = store.damaged_rows()
        assert key == "b" and says in text and str(queue) in text
        summary = run(store, HereFarm(), work=TOYS, keep_free=0)
        assert sorted(summary.done) == ["a.mov", "c.mov"] and summary.left == 0


@pytest.mark.parametrize(
    "payload",
    ["", "{", "null", "[]", "{}", '{"job": 5}', b"\xff", '{"job":"b","out":"/","source":7}', "[" * 9000],
)
def test_a_damaged_job_fails_alone(payload: Any, queue: Path) -> None:
    changed(queue, "UPDATE job SET payload=? WHERE key='b'", payload)
    events: list[Event] = []
    with open_store(queue) as store:
        store.run_alone()
        with pytest.raises(DamagedRow):
            store.plan("b", "i")
        summary = run(store, HereFarm(), work=TOYS, on_event=events.append, keep_free=0)
        assert sorted(summary.done) == ["a.mov", "c.mov"]
        ((clip, text),) = summary.failed
        assert clip == "b.mov" and "its row in the queue is damaged" in text
        assert {row.key: row.state for row in store.rows()}["b"] == "failed"


def test_a_finished_segment_that_does_not_read_is_rendered_again(queue: Path, tmp_path: Path) -> None:
    part = tmp_path / "0.part"
    part.write_text("b 0\n")
    good = SegmentResult.read({"index": 0, "frames": 1, "files": [{"path": str(part), "bytes": 4}]})
    with open_store(queue) as store:
        store.keep_segments([("b", "i", 0, good)])
        assert store.segments("b", "i") == {0: good}
    for result in ("", "[]", '{"files": 5}', '{"files": [{"path": 5}]}', b"\x00"):
        changed(queue, "UPDATE segment SET result=?", result)
        with open_store(queue) as store:
            assert store.segments("b", "i") == {}
    assert segment_of("{}") == SegmentResult()
    with pytest.raises(DamagedRow, match="segments"):
        plan_of('{"job":"b","out":"/","source":{"path":"x"},"record":{}}')


@pytest.mark.parametrize(
    "statements",
    [
        ["CREATE TABLE songs (name TEXT)"],
        ["CREATE TABLE job (name TEXT)", "CREATE TABLE about (key TEXT, value TEXT)"],
        ["CREATE TABLE job (x)", "CREATE TABLE segment (x)", "CREATE TABLE about (y)"],
    ],
)
def test_a_database_of_something_else_is_refused_and_left_as_it_is(
    statements: list[str], tmp_path: Path
) -> None:
    path = tmp_path / "q.sqlite"
    for statement in statements:
        changed(path, statement)
    before = path.read_bytes()
    with pytest.raises(QueueError) as told:
        Store(path)
    assert str(path) in str(told.value) and path.read_bytes() == before


def test_other_versions_and_columns_are_refused(queue: Path) -> None:
    for version in ("99", b"x", ""):
        changed(queue, "UPDATE about SET value=?", version)
        with pytest.raises(QueueError, match="is a queue of version"):
            Store(queue)
    changed(queue, "DELETE FROM about")
    with pytest.raises(QueueError, match="of no version"):
        Store(queue)


def test_columns_that_are_not_there(queue: Path) -> None:
    changed(queue, "ALTER TABLE job RENAME COLUMN payload TO cargo")
    with pytest.raises(QueueError, match="no such column: payload"):
        Store(queue)


def held(path: Path) -> None:
    """Whatever the file holds, everything that the queue's commands ask of it is answered or an error of ours."""
    try:
        with open_store(path) as store:
            store.damaged_rows()
            for row in store.rows():
                try:
                    store.plan(row.key, row.identity)
                except DamagedRow:
                    pass
                store.segments(row.key, row.identity)
            store.count("queued")
            store.recover()
    except RushlightError as error:
        assert str(path) in str(error)


def damaged_files(whole: bytes, seed: int, count: int) -> list[bytes]:
    dice = random.Random(seed)
    found = []
    for _ in range(count):
        data = bytearray(whole)
        kind = dice.randrange(3)
        if kind == 0:
            data = data[: dice.randrange(len(data))]
        for _ in range(dice.randrange(1, 9) if kind else 0):
            at = dice.randrange(len(data))
            data[at : at + dice.choice([1, 4, 64])] = dice.randbytes(1) * dice.choice([1, 4, 64])
        found.append(bytes(data))
    return found


def test_a_damaged_file_is_answered_or_a_sentence(queue: Path) -> None:
    whole = queue.read_bytes()
    for data in damaged_files(whole, 5, 60):
        queue.write_bytes(data)
        held(queue)


@pytest.mark.slow
def test_5_000_damaged_files(queue: Path) -> None:
    whole = queue.read_bytes()
    for data in damaged_files(whole, 6, 5_000):
        queue.write_bytes(data)
        held(queue)
