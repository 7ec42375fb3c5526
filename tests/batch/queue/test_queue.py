"""The queue: rows that survive, and a runner that loses no job and does none twice."""

import json
import os
import sqlite3
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from logged import append_record, latest, read_records
from recorded import recorded
from rushlight.batch import job_log
from rushlight.batch.disks import free_bytes, network_file_system
from rushlight.batch.farm.dask_farm import DaskFarm
from rushlight.batch.queue import store as store_module
from rushlight.batch.queue.filling import own_queue
from rushlight.batch.queue.queue_rows import DamagedQueue
from rushlight.batch.queue.state_machine import Policy
from rushlight.batch.queue.store import QueuedJob, Store, open_store, queue_of
from rushlight.batch.records.queue_row import SegmentFile, SegmentResult, TurnOrders
from rushlight.batch.run.runner import Event, Stop, Work, run
from rushlight.pipelines.errors import OwnFault, QueueError, ResourceError
from rushlight.pipelines.inside_folder import read_bytes

TOYS = Work(segment="toywork:segment", finish="toywork:finish")
SUPPORT = str(Path(__file__).parents[2] / "support")
TOY_PATH = os.pathsep.join(filter(None, (SUPPORT, os.environ.get("PYTHONPATH"))))


def job(out: Path, name: str, segments: int = 2, **payload: object) -> QueuedJob:
    return QueuedJob(
        key=name,
        out=str(out),
        clip=name,
        state="queued",
        priority=0,
        identity="i",
        frames=segments,
        added=0.0,
        payload={
            "job": name,
            "out": str(out),
            "source": {"path": name},
            "record": {},
            "segments": [{"index": n, "count": 1} for n in range(segments)],
            **payload,
        },
    )


@pytest.fixture(scope="module")
def farm():  # type: ignore[no-untyped-def]
    before = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = TOY_PATH
    farm = DaskFarm(workers=2)
    yield farm
    farm.close()
    del os.environ["PYTHONPATH"]
    if before is not None:
        os.environ["PYTHONPATH"] = before


def test_rows_survive_and_a_changed_job_starts_afresh(tmp_path: Path) -> None:
    with open_store(tmp_path / "q.sqlite") as store:
        store.add([job(tmp_path, "a"), job(tmp_path, "b", 9)])
        part = tmp_path / "part"
        part.write_text("x")
        made = SegmentResult(frames=1, files=[SegmentFile(path=str(part), bytes=1)])
        store.keep_segments([("a", "i", 0, made)])
        store.set_state("a", "i", "running")
    with open_store(tmp_path / "q.sqlite") as store:
        assert store.recover() == 1
        assert [r.key for r in store.rows("queued")] == ["b", "a"]  # long clips first
        assert list(store.segments("a", "i")) == [0]
        part.write_text("xx")
        assert store.segments("a", "i") == {}  # a file of another size is not trusted
        store.add([QueuedJob(**{**vars(job(tmp_path, "a")), "identity": "j"})])
        assert store.segments("a", "j") == {}
        assert store.drop(["a", "b"]) == 2 and store.rows() == []


def test_one_runner_a_queue(tmp_path: Path) -> None:
    with open_store(tmp_path / "q.sqlite") as one, open_store(tmp_path / "q.sqlite") as two:
        one.run_alone()
        with pytest.raises(QueueError, match=f"process {os.getpid()}"):
            two.run_alone()


def test_what_is_no_queue(tmp_path: Path) -> None:
    (tmp_path / "q.sqlite").write_text("this is no database, not at all, whatever its name says")
    with pytest.raises(QueueError, match="no queue"):
        open_store(tmp_path / "q.sqlite")
    assert network_file_system(tmp_path) == "" and free_bytes(tmp_path / "not" / "yet") > 0


OLD = {  # as earlier versions made them
    "1": "",
    "2": ", rank INTEGER NOT NULL DEFAULT 0, mount TEXT NOT NULL DEFAULT '', cost REAL NOT NULL DEFAULT 0",
}
OLD["3"] = f"{OLD['2']}, planned INTEGER NOT NULL DEFAULT 1"


def older_queue(path: Path, version: str) -> None:
    """A queue as an earlier version made it, with a job that was set aside."""
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL)")
        db.execute("INSERT INTO about VALUES ('version', ?)", (version,))
        db.execute(
            "CREATE TABLE segment (key TEXT, identity TEXT, number INTEGER, result TEXT, PRIMARY KEY (key, number))"
        )
        db.execute(
            "CREATE TABLE job (key TEXT PRIMARY KEY, out TEXT NOT NULL, clip TEXT NOT NULL, state TEXT NOT NULL, "
            "priority INTEGER NOT NULL, identity TEXT NOT NULL, frames INTEGER NOT NULL, added REAL NOT NULL, "
            "payload TEXT NOT NULL, error TEXT NOT NULL DEFAULT '', deaths INTEGER NOT NULL DEFAULT 0, "
            f"attempts INTEGER NOT NULL DEFAULT 0{OLD[version]})"
        )
        db.execute(
            "INSERT INTO job (key,out,clip,state,priority,identity,frames,added,payload,error) "
            "VALUES ('a','o','a.mov','set aside',0,'i',3,0,'{}','3 workers died')"
        )
    db.close()


@pytest.mark.parametrize("version", OLD)
def test_an_older_queue_is_read_and_its_jobs_are_planned_ones(tmp_path: Path, version: str) -> None:
    older_queue(tmp_path / "q.sqlite", version)
    for _ in range(2):
        with open_store(tmp_path / "q.sqlite") as store:
            (row,) = store.rows()
            assert (row.planned, row.error, row.frames) == (True, "3 workers died", 3)
    with open_store(tmp_path / "q.sqlite") as store:
        assert store.move(["a"], ("set aside",), "queued") == ["a"]


def test_the_orders_of_an_older_queue_leave_its_jobs_records(tmp_path: Path) -> None:
    """Version 3 had them among what a job's record says. Jobs that do not read, and rows without one, are left as they are."""
    path, said = tmp_path / "q.sqlite", {"row": {"note": "caf\udce9"}, "recipe": {"name": "two"}}
    lists = {"kept_outputs": ["a"], "earlier_outputs": ["b"], "later_outputs": ["c"]}
    whole = dict(job(tmp_path, "b").payload) | {"record": said | lists | {"rank": 2, "cost": 1.5}}
    removing = dict(job(tmp_path, "c").payload) | {"record": {**said, "replaced": "remove"}}
    damaged = ("{", '{"record": 5}', '{"request": {"recipe": "two"}}')
    older_queue(path, "3")
    with sqlite3.connect(path) as db:
        columns = "key,out,clip,state,priority,identity,frames,added,payload,rank,cost"
        for key, payload in (
            ("b", json.dumps(whole)),
            ("c", json.dumps(removing)),
            *zip("def", damaged, strict=True),
        ):
            ranked = (2, 1.5) if key == "b" else (0, 0.0)
            row = (key, str(tmp_path), key, "queued", 0, "i", 2, 0.0, payload, *ranked)
            db.execute(f"INSERT INTO job ({columns}) VALUES (?,?,?,?,?,?,?,?,?,?,?)", row)
    db.close()
    for _ in range(2):
        with open_store(path) as store:
            rows = {row.key: row.orders for row in store.rows()}
            assert rows["b"] == TurnOrders(rank=2, cost=1.5, **lists) and rows["c"] == TurnOrders(
                rank=0, cost=0.0, replaced="remove"
            )
            assert [rows[key] for key in "adef"] == [TurnOrders(rank=0, cost=0.0)] * 4
            for key in "bc":
                found = store.plan(key, "i")
                assert found and found.plain()["record"] == said
                assert found.plain()["segments"] == whole["segments"]
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT value FROM about").fetchone() == ("4",)
        kept = db.execute("SELECT payload FROM job WHERE key IN ('d','e','f') ORDER BY key").fetchall()
        assert kept == [(text,) for text in damaged]
    db.close()


def test_the_orders_of_a_turn_survive_and_no_worker_is_told(tmp_path: Path) -> None:
    orders = TurnOrders(rank=3, cost=0.1, kept_outputs=["Caf\udce9"], later_outputs=["b"], replaced="remove")
    with open_store(tmp_path / "q.sqlite") as store:
        store.add([replace(job(tmp_path, "late"), orders=orders), job(tmp_path, "early")])
    with open_store(tmp_path / "q.sqlite") as store:
        early, late = store.rows()  # by rank
        assert (late.orders, early.orders) == (orders, TurnOrders(rank=0, cost=0.0))
        plan = store.plan("late", "i")
        assert plan and plan.plain() == job(tmp_path, "late").payload


def test_a_row_that_was_never_planned_is_never_queued(tmp_path: Path) -> None:
    row = QueuedJob(
        **{
            **vars(job(tmp_path, "row-1")),
            "planned": False,
            "state": "set aside",
            "error": "day.csv:2: slope",
        }
    )
    with open_store(tmp_path / "q.sqlite") as store:
        store.add([row, job(tmp_path, "b")])
        assert store.move(["row-1"], ("set aside",), "queued") == []
        assert [(r.key, r.planned, r.error) for r in store.rows("set aside")] == [
            ("row-1", False, "day.csv:2: slope")
        ]
        store.add([job(tmp_path, "a")], settled=["row-1"])
        assert {r.key for r in store.rows()} == {"a", "b"}


def test_many_jobs_are_quick(tmp_path: Path) -> None:
    with open_store(tmp_path / "q.sqlite") as store:
        start = time.process_time()
        store.add([job(tmp_path, f"c{n}") for n in range(10_000)])
        assert len(store.rows()) == 10_000
        assert time.process_time() - start < 10  # soft: the figure is in docs/performance.md


def test_records_survive_a_torn_line(tmp_path: Path) -> None:
    append_record(tmp_path, recorded("a", n=1))
    with (tmp_path / "log" / "jobs.jsonl").open("a") as stream:
        stream.write('{"schema": "rushlight-job-1", "job": "b", "sta')
    append_record(tmp_path, recorded("a", n=2))
    assert [r["n"] for r in read_records(tmp_path)] == [1, 2]
    assert latest(read_records(tmp_path))["a"]["n"] == 2


def test_a_night_with_everything_in_it(tmp_path: Path, farm: DaskFarm) -> None:
    events: list[Event] = []
    kinds = {
        "good": "",
        "dies": "die",
        "crashes": "segfault",
        "source": "source",
        "odd": "odd",
        "short": "short once",
        "bad": "bad delivery",
    }
    with open_store(tmp_path / "q.sqlite") as store:
        store.run_alone()
        store.add(
            [job(tmp_path, name, does=does) for name, does in kinds.items()]
            + [job(tmp_path, f"n{n}", 3) for n in range(4)]
        )
        summary = run(
            store, farm, work=TOYS, on_event=events.append, policy=Policy(resource_wait=0.1), keep_free=0
        )
        states = {r.key: r.state for r in store.rows()}
    assert {k for k, v in states.items() if v == "done"} == {"good", "short", "n0", "n1", "n2", "n3"}
    assert {k for k, v in states.items() if v == "set aside"} == {"dies", "crashes"}
    assert {k for k, v in states.items() if v == "failed"} == {"source", "odd", "bad"}
    assert summary.left == 0 and len(summary.done) == 6
    assert (tmp_path / "n0.txt").read_text() == "n0 0\nn0 1\nn0 2\n"
    records = latest(read_records(tmp_path))
    assert {k: r["status"] for k, r in records.items()} == states
    assert "3 workers died" in records["dies"]["error"] and "ZeroDivisionError" in records["odd"]["error"]
    assert not (tmp_path / ".work" / "good").exists()


def test_a_stop_finishes_what_is_in_hand_and_goes_on_later(tmp_path: Path, farm: DaskFarm) -> None:
    stop = Stop()

    def watch(event: Event) -> None:
        if event.what == "segment":
            stop.level = 1

    with open_store(tmp_path / "q.sqlite") as store:
        store.run_alone()
        store.add([job(tmp_path, name, 6, seconds=0.05) for name in "abc"])
        first = run(store, farm, work=TOYS, stop=stop, on_event=watch, keep_free=0)
        assert first.left == 3 and not first.done
        second = run(store, farm, work=TOYS, keep_free=0)
    assert sorted(second.done) == ["a", "b", "c"]
    calls = [tuple(line.split()[:2]) for line in (tmp_path / "calls.txt").read_text().splitlines()]
    assert len(calls) == len(set(calls)) == 18  # no segment twice


def test_too_little_room_pauses_and_says_so(
    tmp_path: Path, farm: DaskFarm, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rushlight.batch.run import disk_room

    room = iter([0] * 4)
    monkeypatch.setattr(disk_room, "free_bytes", lambda path: next(room, 10**12))
    events: list[Event] = []
    with open_store(tmp_path / "q.sqlite") as store:
        store.run_alone()
        store.add([job(tmp_path, "a")])
        summary = run(store, farm, work=TOYS, on_event=events.append, keep_free=10**9)
    assert [e.what for e in events if e.what in ("paused", "resumed")] == [
        "paused",
        "resumed",
    ] and summary.done == ["a"]


def test_a_fault_in_a_worker_comes_home_with_its_place() -> None:
    from rushlight.batch.farm.dask_farm import call

    kind, error = call("toywork:segment", ({"out": "/nonexistent"}, 0, "t"))
    assert kind == "error" and isinstance(error, OwnFault) and "KeyError" in str(error)


KILLED = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
import test_queue as t
if __name__ == "__main__":
    out = Path({out!r})
    with t.open_store(out / "q.sqlite") as store:
        store.run_alone()
        if not store.rows():
            store.add([t.job(out, f"k{{n}}", 4, seconds=0.05) for n in range(6)])
        farm = t.DaskFarm(workers=2)
        t.run(store, farm, work=t.TOYS, keep_free=0)
        farm.close()
"""


def kill_loop(out: Path, moments: list[float]) -> None:
    """Run, kill -9 the whole runner at each moment, run to the end: every job once, nothing half."""
    script = KILLED.format(tests=str(Path(__file__).parent), out=str(out))
    env = {**os.environ, "PYTHONPATH": TOY_PATH}
    (out / "go.py").write_text(script)
    for moment in moments:
        process = subprocess.Popen(
            [sys.executable, str(out / "go.py")],
            env=env,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(moment)
        process.kill()
        process.wait()
        with sqlite3.connect(out / "q.sqlite") as db:
            assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        db.close()
    subprocess.run(
        [sys.executable, str(out / "go.py")],
        env=env,
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        timeout=120,
    )
    with Store(out / "q.sqlite") as store:
        rows = store.rows()
    assert len(rows) == 6 and all(r.state == "done" for r in rows)
    records = read_records(out)
    assert (
        sorted(r["job"] for r in records)
        == sorted({r["job"] for r in records})
        == [f"k{n}" for n in range(6)]
    )
    for n in range(6):
        assert (out / f"k{n}.txt").read_text() == "".join(f"k{n} {k}\n" for k in range(4))


def test_kill_9_of_the_runner_loses_nothing(tmp_path: Path) -> None:
    kill_loop(tmp_path, [2.2, 2.6])


@pytest.mark.slow
def test_kill_9_of_the_runner_many_times(tmp_path: Path) -> None:
    import random

    dice = random.Random(20261125)
    for round_ in range(10):
        folder = tmp_path / str(round_)
        folder.mkdir()
        kill_loop(folder, [dice.uniform(0.5, 4.0) for _ in range(6)])


def test_the_log_is_read_once_a_run_not_once_a_clip(
    farm: DaskFarm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads: list[Path] = []

    def counted(out: Path, name: str) -> bytes:
        reads.append(out)
        return read_bytes(out, name)

    monkeypatch.setattr(job_log, "read_bytes", counted)
    names = [f"c{n:02}" for n in range(12)]
    with open_store(tmp_path / "q.sqlite") as store:
        store.run_alone()
        orders = TurnOrders(kept_outputs=["viewing"])
        store.add([replace(job(tmp_path, name), orders=orders) for name in names])
        run(store, farm, work=TOYS)
    assert reads == [tmp_path]
    assert {r["clip"] for r in read_records(tmp_path)} == set(names)


def test_bytes_that_are_no_text_cost_their_row_alone(tmp_path: Path) -> None:
    """They were taken for a disk that fails, and the night waited for it without end."""
    path = tmp_path / "q.sqlite"
    with open_store(path) as store:
        store.add([job(tmp_path, "a"), job(tmp_path, "b")])
    with sqlite3.connect(path) as db:
        db.execute("UPDATE job SET payload=CAST(x'7bff7d' AS TEXT), mount=CAST(x'ff' AS TEXT) WHERE key='a'")
    db.close()
    with open_store(path) as store:
        assert {row.key for row in store.rows()} == {"a", "b"}
        with pytest.raises(QueueError):
            store.plan("a", "i")
        assert store.plan("b", "i")


def test_what_sqlite_says_is_told_apart_and_what_would_do_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "q.sqlite"
    monkeypatch.setattr(store_module, "BUSY", 0)
    with open_store(path) as store, sqlite3.connect(path, isolation_level=None) as other:
        other.execute("BEGIN EXCLUSIVE")
        for use in (store.rows, lambda: store.drop(["a"]), lambda: open_store(path)):
            with pytest.raises(ResourceError, match="another program has held it"):
                use()
        other.execute("COMMIT")
        assert store.rows() == []
        (tmp_path / "q.sqlite-journal").mkdir()  # an operational error that no waiting ends
        with pytest.raises(QueueError, match=r"cannot be written.*See to its disk") as refused:
            store.drop(["a"])
        assert type(refused.value) is QueueError
        (tmp_path / "q.sqlite-journal").rmdir()
        other.execute("DROP TABLE job")
        with pytest.raises(DamagedQueue, match=r"no such table: job\. Put a copy back"):
            store.rows()
    other.close()


def test_a_queue_that_another_program_holds_is_not_put_aside_as_damaged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_module, "BUSY", 0)
    own_queue(tmp_path, print).close()
    path = queue_of(tmp_path)
    with sqlite3.connect(path, isolation_level=None) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(ResourceError):
            own_queue(tmp_path, print)
    other.close()
    assert path.exists() and not path.with_name("queue.sqlite.damaged").exists()


def test_a_held_folder_holds_what_joins_until_it_is_released(tmp_path: Path) -> None:
    """In one transaction with the jobs, so that no job slips through between a look and a release."""
    one, two = tmp_path / "one", tmp_path / "two"
    with open_store(tmp_path / "q.sqlite") as store, open_store(tmp_path / "q.sqlite") as other:
        store.add([job(one, "early"), job(two, "else")])
        store.hold_folder(one)
        other.add([job(one, "late")])
        assert {r.key: r.state for r in store.rows()} == {"early": "held", "late": "held", "else": "queued"}
        store.set_state("early", "i", "running")
        store.recover()  # its runner was killed: it goes on as it was told to
        assert {r.key: r.state for r in store.rows()}["early"] == "held" and other.is_held(one)
        assert other.release_folder(one) == 2 and not store.is_held(one)
        store.add([job(one, "last")])
        assert {r.state for r in store.rows()} == {"queued"}


def test_names_that_are_no_utf8_can_be_queued_and_fail(tmp_path: Path) -> None:
    bad = QueuedJob(**{**vars(job(tmp_path, "a")), "clip": "bad\udcff.mov", "error": "bad\udcff.mov"})
    with Store(tmp_path / "queue.sqlite") as store:
        store.add([bad])
        assert [row.clip for row in store.rows("queued")] == ["bad\\udcff.mov"]
        assert store.set_state("a", "i", "failed", error="bad\udcff.mov: does not open")
        assert [row.error for row in store.rows("failed")] == ["bad\\udcff.mov: does not open"]
