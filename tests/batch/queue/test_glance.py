"""A glance at the queue's file: rows in their order, nothing made, and nothing where it does not read."""

from pathlib import Path

import pytest

from rushlight.batch.queue.glance import glance_at, job_in
from rushlight.batch.queue.store import open_store
from saturation import toy


def test_rows_in_the_order_of_their_turn(tmp_path: Path) -> None:
    with open_store(tmp_path / "q.sqlite") as store:
        store.add([toy(tmp_path, "short", 1), toy(tmp_path, "long", 3)])
        store.set_state("short", "i", "running")
        rows = glance_at(tmp_path / "q.sqlite")
        assert rows is not None
        assert [(row.job, row.state, row.frames) for row in rows] == [
            ("long", "queued", 144),
            ("short", "running", 48),
        ]
        assert [row.key for row in store.rows()] == [row.job for row in rows]


@pytest.mark.parametrize("data", [None, b"", b"no database", b"SQLite format 3\0" + bytes(4000)])
def test_a_file_that_does_not_read_is_none_and_stays_as_it_is(data: bytes | None, tmp_path: Path) -> None:
    queue = tmp_path / "q.sqlite"
    if data is not None:
        queue.write_bytes(data)
    assert glance_at(queue) is None
    assert [p.read_bytes() for p in tmp_path.iterdir()] == ([] if data is None else [data])


def test_a_row_of_other_types_is_left_out(tmp_path: Path) -> None:
    with open_store(tmp_path / "q.sqlite") as store:
        store.add([toy(tmp_path, "a", 1), toy(tmp_path, "b", 1)])
        store._db.execute("UPDATE job SET frames='many' WHERE key='a'")
    assert [row.job for row in glance_at(tmp_path / "q.sqlite") or ()] == ["b"]


@pytest.mark.parametrize(
    ("key", "job"),
    [
        ("A001-0123456789/aaaaaa", "A001-0123456789"),
        ("A001-0123456789@01234567/aaaaaa+1", "A001-0123456789"),
        ("A@1-0123456789/aaaaaa", "A@1-0123456789"),
        ("row-0123456789ab@01234567/bbb", "row-0123456789ab"),
    ],
)
def test_the_job_of_a_key(key: str, job: str) -> None:
    assert job_in(key) == job
