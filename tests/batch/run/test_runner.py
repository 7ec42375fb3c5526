"""The loop of the night on a farm of this process: disks that go or are full, deaths that count, folders that are taken."""

import contextlib
import os
import subprocess
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from here import HereFarm
from logged import latest, read_records
from rushlight.batch.disks import mount_of
from rushlight.batch.farm.dask_farm import LostWorker, Task
from rushlight.batch.job_log import append_record
from rushlight.batch.queue.state_machine import Policy
from rushlight.batch.queue.store import QueuedJob, Store, open_store
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord
from rushlight.batch.run import delivery, disk_room
from rushlight.batch.run.events import Event, Place, Stop
from rushlight.batch.run.runner import Work, run
from rushlight.pipelines.errors import DeliveryError, ResourceError
from saturation import toy

TOYS = Work(segment="toywork:segment", finish="toywork:finish")
SOON = Policy(resource_wait=0.05, gone_wait=0.05)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "q.sqlite") as store:
        store.run_alone()
        yield store


def jobs(out: Path, *names: str, mount: str = "") -> list[QueuedJob]:
    return [QueuedJob(**{**vars(toy(out, name, 2)), "mount": mount}) for name in names]


def states(store: Store) -> dict[str, str]:
    return {row.key: row.state for row in store.rows()}


def test_a_clip_is_charged_for_its_own_deaths_alone_and_they_last(tmp_path: Path, store: Store) -> None:
    """Two deaths, then the runner is started anew: the third sets it aside. A fresh count comes with a fresh `add`."""

    def dies(task: Task) -> None:
        if task.key.startswith("bad-"):
            raise LostWorker("the worker died while it ran this")

    farm, stop = HereFarm(before=dies), Stop()
    store.add(jobs(tmp_path, "good", "bad"))
    deaths: list[str] = []

    def watch(event: Event) -> None:
        if event.what == "retry":
            deaths.append(event.clip)
            stop.level = 2 if len(deaths) == 2 else 0

    run(store, farm, work=TOYS, policy=SOON, on_event=watch, stop=stop, keep_free=0)
    assert {row.key: row.deaths for row in store.rows()} == {"good": 0, "bad": 2}
    store.set_state(
        "bad", "i", "running"
    )  # as the runner left it when it was killed itself: that is not charged
    run(store, HereFarm(before=dies), work=TOYS, policy=SOON, keep_free=0)
    assert states(store) == {"good": "done", "bad": "set aside"}
    assert "3 workers died on it" in latest(read_records(tmp_path))["bad"]["error"]
    assert len([line for line in (tmp_path / "calls.txt").read_text().splitlines() if "good" in line]) == 2
    store.move(["bad"], ["set aside"], "queued")  # as `retry`
    run(store, HereFarm(), work=TOYS, policy=SOON, keep_free=0)
    assert states(store)["bad"] == "done"


def test_a_vanished_mount_pauses_and_nothing_is_written_beneath_it(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, away = tmp_path / "disk" / "out", tmp_path / "unplugged"
    out.mkdir(parents=True)
    gone = [False]
    monkeypatch.setattr(disk_room, "mount_of", lambda path: "/" if gone[0] else "/disk")
    events: list[Event] = []

    def watch(event: Event) -> None:
        events.append(event)
        if event.what == "segment" and not gone[0] and not any(e.what == "paused" for e in events):
            gone[0] = True
            (tmp_path / "disk").rename(away)  # in the middle of the first clip
        if event.what == "paused":
            assert "is gone" in event.text and not (tmp_path / "disk").exists()
            back.append(time.monotonic() + 0.5)

    back: list[float] = []

    class Farm(HereFarm):
        def results(self, timeout: float) -> list:
            if back and gone[0] and time.monotonic() > back[0]:
                assert not list((tmp_path / "disk").rglob("*"))
                with contextlib.suppress(OSError):
                    (tmp_path / "disk").rmdir()
                away.rename(tmp_path / "disk")
                gone[0] = False
            return super().results(timeout)

    store.add(jobs(out, "a", "b", mount="/disk"))

    def refuses(task: Task) -> None:
        if gone[0]:
            raise ResourceError("no such device")  # what a worker meets meanwhile

    summary = run(store, Farm(before=refuses), work=TOYS, on_event=watch, policy=SOON, keep_free=0)
    assert sorted(summary.done) == ["a", "b"] and not summary.failed
    assert [e.what for e in events if e.what in ("paused", "resumed")] == ["paused", "resumed"]


def test_clips_whose_disk_is_gone_hold_up_no_others(tmp_path: Path, store: Store) -> None:
    """Another disk's, or a row that says another mount than there is."""
    stop = Stop()
    told: list[str] = []

    def watch(event: Event) -> None:
        if event.what in ("waiting", "paused", "done"):
            told.append(f"{event.what} {event.clip}".strip())
        if event.what == "paused":
            assert "is gone" in event.text and "added again" in event.text
            stop.level = 1

    store.add(jobs(tmp_path / "unplugged", "a", mount="/nowhere"))
    store.add(jobs(tmp_path, "b", "c", mount=mount_of(tmp_path)))
    summary = run(store, HereFarm(), work=TOYS, on_event=watch, policy=SOON, keep_free=0, stop=stop)
    assert sorted(summary.done) == ["b", "c"] and told == ["waiting", "done b", "done c", "paused"]
    assert states(store)["a"] == "queued" and not (tmp_path / "unplugged").exists()


def test_a_real_mount_that_goes(tmp_path: Path, store: Store) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    if (
        os.geteuid()
        or subprocess.run(["mount", "-t", "tmpfs", "tmpfs", disk], capture_output=True).returncode
    ):
        pytest.skip("no right to mount here; the same is tested above without")
    try:
        out = disk / "out"
        out.mkdir()
        assert mount_of(out) == str(disk)
        store.add(jobs(out, "a", "b", mount=mount_of(out)))
        stop, events = Stop(), []
        subprocess.run(["umount", disk], check=True)

        def watch(event: Event) -> None:
            events.append(event.what)
            if event.what == "paused":
                stop.level = 1

        summary = run(store, HereFarm(), work=TOYS, on_event=watch, stop=stop, keep_free=0)
        assert summary.left == 2 and events[0] == "paused" and not list(disk.iterdir())
    finally:
        subprocess.run(["umount", disk], capture_output=True)


def test_no_room_for_the_log_or_the_queue_pauses_and_goes_on(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    full = {"log": 3, "queue": 3}
    saves = store.keep_segments

    def log(out: Path, record: JobRecord) -> None:
        if full["log"]:
            full["log"] -= 1
            raise ResourceError("no space left on the disk")
        append_record(out, record)

    def save(segments: object) -> None:
        if full["queue"]:
            full["queue"] -= 1
            raise ResourceError("no space left for the queue")
        saves(segments)  # type: ignore[arg-type]

    monkeypatch.setattr(delivery, "append_record", log)
    monkeypatch.setattr(store, "keep_segments", save)
    monkeypatch.setattr(disk_room, "AGAIN", 0.05)
    events: list[Event] = []
    store.add(jobs(tmp_path, "a", "b"))
    summary = run(store, HereFarm(), work=TOYS, on_event=events.append, keep_free=0)
    assert sorted(summary.done) == ["a", "b"] and full == {"log": 0, "queue": 0}
    told = [e.what for e in events if e.what in ("paused", "resumed")]
    assert told == ["paused", "resumed"] * 2 and all(
        "goes on" in e.text for e in events if e.what == "paused"
    )
    assert sorted(r["job"] for r in read_records(tmp_path)) == ["a", "b"]  # none twice
    calls = (tmp_path / "calls.txt").read_text().splitlines()
    assert len(calls) == len({tuple(c.split()[:2]) for c in calls}) == 4


@pytest.mark.parametrize("seen", [True, False])
def test_a_full_disk_is_said_once_and_it_goes_on_only_when_there_is_room(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch, seen: bool
) -> None:
    """`seen`: by the disk's free bytes; a quota raised shows nowhere. Small writes, such as the log's, fit all the while."""
    room_at, tries = [1e99], []
    monkeypatch.setattr(disk_room, "free_bytes", lambda path: (time.monotonic() > room_at[0]) << 30)
    monkeypatch.setattr(disk_room, "AGAIN", 60 if seen else 0.1)
    monkeypatch.setattr(disk_room, "LOOK", 0.01)
    told: list[str] = []

    def full(task: Task) -> None:
        if task.arguments[0]["job"] == "a" and (time.monotonic() < room_at[0] if seen else len(tries) < 5):
            tries.append(task.key)
            raise ResourceError("no space left on the disk", file=str(tmp_path / ".work" / "a" / "0.mov"))

    def note(event: Event) -> None:
        if event.what in ("paused", "resumed", "retry"):
            told.append(f"{event.what} after {len(tries)}")
            assert ".work" not in event.text
        if event.what == "paused" and seen:
            room_at[0] = time.monotonic() + 0.5

    store.add(jobs(tmp_path, "a", "b"))
    summary = run(store, HereFarm(before=full), work=TOYS, on_event=note, policy=SOON, keep_free=0)
    assert sorted(summary.done) == ["a", "b"]
    assert told == ["paused after 1", f"resumed after {2 if seen else 5}"]


def test_what_is_tried_again_is_said_without_the_path_of_a_working_file(tmp_path: Path, store: Store) -> None:
    tries: list[str] = []

    def short(task: Task) -> None:
        if not tries:
            tries.append(task.key)
            raise ResourceError("too many open files", file=str(tmp_path / ".work" / "a" / "0.mov"))

    events: list[Event] = []
    store.add(jobs(tmp_path, "a"))
    run(store, HereFarm(before=short), work=TOYS, on_event=events.append, policy=SOON, keep_free=0)
    assert [e.text for e in events if e.what == "retry"] == [f"{tmp_path}: too many open files"]


def test_what_is_there_already_is_not_made_again(tmp_path: Path, store: Store) -> None:
    """The runner died between the record and the queue's row."""
    store.add(jobs(tmp_path, "a"))
    run(store, HereFarm(), work=TOYS, keep_free=0)
    store.set_state("a", "i", "running")
    events: list[str] = []
    summary = run(store, HereFarm(), work=TOYS, on_event=lambda e: events.append(e.what), keep_free=0)
    assert events == ["there"] and not summary.done and states(store) == {"a": "done"}
    assert len(read_records(tmp_path)) == 1


def test_clips_of_a_folder_that_another_renders_into_wait_and_others_go_on(
    tmp_path: Path, store: Store
) -> None:
    taken, events = [True], []

    class Taken(Place):
        def claim(self, out: Path) -> str:
            return "is being rendered into by process 1" if out.name == "one" and taken[0] else ""

    def watch(event: Event) -> None:
        events.append((event.what, event.clip))
        if event.what == "done":
            taken[0] = False

    for name in ("one", "two"):
        (tmp_path / name).mkdir()
    store.add(jobs(tmp_path / "one", "a") + jobs(tmp_path / "two", "b"))
    summary = run(store, HereFarm(), work=TOYS, on_event=watch, keep_free=0, place=Taken())
    assert summary.done == ["b", "a"] and ("waiting", "") in events


def test_after_a_moment_nothing_starts(tmp_path: Path, store: Store) -> None:
    store.add(jobs(tmp_path, "a", "b", "c"))
    stop = Stop(until=time.time() + 3600)

    def watch(event: Event) -> None:
        if event.what == "done":
            stop.until = time.time() - 1

    summary = run(store, HereFarm(slots=1), work=TOYS, stop=stop, on_event=watch, keep_free=0)
    assert len(summary.done) <= 2 and summary.left == 3 - len(summary.done) > 0
    assert sorted(run(store, HereFarm(), work=TOYS, keep_free=0).done + summary.done) == ["a", "b", "c"]


def test_a_folder_that_cannot_be_written_to_any_more_ends_no_night(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log, then the queue's own file: read-only, locked, failing."""
    refused = {"log": 2, "queue": 2}
    sets = store.set_state

    def log(out: Path, record: JobRecord) -> None:
        if refused["log"]:
            refused["log"] -= 1
            raise DeliveryError("Read-only file system", file="jobs.jsonl")
        append_record(out, record)

    def set_state(key: str, identity: str, state: str, *, error: str = "") -> bool:
        if state == "running" and refused["queue"]:
            refused["queue"] -= 1
            raise ResourceError("the queue cannot be written: database is locked")
        return sets(key, identity, state, error=error)

    monkeypatch.setattr(delivery, "append_record", log)
    monkeypatch.setattr(store, "set_state", set_state)
    events: list[Event] = []
    store.add(jobs(tmp_path, "a", "b"))
    summary = run(store, HereFarm(), work=TOYS, on_event=events.append, policy=SOON, keep_free=0)
    assert sorted(summary.done) == ["a", "b"] and not summary.failed
    assert {"paused", "resumed"} <= {e.what for e in events}
    assert len(read_records(tmp_path)) == 2


def test_a_share_whose_server_is_away_is_gone(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop, events = Stop(), []

    def stale(path: Path) -> str:
        raise OSError(116, "Stale file handle")

    def watch(event: Event) -> None:
        events.append(event)
        stop.level = 1

    monkeypatch.setattr(disk_room, "mount_of", stale)
    store.add(jobs(tmp_path, "a", mount="/share"))
    summary = run(store, HereFarm(), work=TOYS, on_event=watch, stop=stop, keep_free=0)
    assert summary.left == 1 and events[0].what == "paused" and "is gone" in events[0].text


@pytest.mark.parametrize("does", ["wrong record", "record outside", "wrong answer"])
def test_a_wrong_answer_of_a_worker_fails_its_clip_and_pauses_nothing(
    tmp_path: Path, store: Store, does: str
) -> None:
    added, events = jobs(tmp_path, "good", "bad", "other"), []
    added[1] = replace(added[1], payload={**added[1].payload, "does": does})
    store.add(added)

    def watch(event: Event) -> None:
        events.append(event.what)
        assert event.what != "paused", event.text

    summary = run(store, HereFarm(), work=TOYS, policy=SOON, on_event=watch, keep_free=0)
    assert sorted(summary.done) == ["good", "other"] and "failed" in events
    assert states(store) == {"good": "done", "bad": "failed", "other": "done"}
    found = latest(read_records(tmp_path))
    assert set(found) == {"good", "bad", "other"} and found["bad"]["status"] == "failed"
    assert "what the worker answered does not read" in found["bad"]["error"]


@pytest.mark.parametrize("where", ["worker", "record", "queue"])
def test_a_fault_of_our_own_costs_one_clip_and_its_traceback_is_kept(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    added = jobs(tmp_path, "good", "bad", "other")
    if where == "worker":
        added[1].payload["does"] = "odd"
    elif where == "record":
        described = delivery.revisions.described

        def odd(out: Path, record: DeliveredRecord, *rest: object) -> DeliveredRecord:
            if record.job == "bad":
                raise ZeroDivisionError("odd")
            return described(out, record, *rest)

        monkeypatch.setattr(delivery.revisions, "described", odd)
    else:
        del added[1].payload["segments"]
    store.add(added)
    summary = run(store, HereFarm(), work=TOYS, policy=SOON, keep_free=0)
    assert sorted(summary.done) == ["good", "other"]
    ((clip, text),) = summary.failed
    assert states(store) == {"good": "done", "bad": "failed", "other": "done"}
    if where == "queue":
        assert clip == "bad" and "its row in the queue is damaged" in text and "segments: is damaged" in text
        return
    assert clip == "bad" and "a fault of rushlight's own" in text and "(log/errors.txt shows where)" in text
    kept = (tmp_path / "log" / "errors.txt").read_text()
    assert "Traceback" in kept and "ZeroDivisionError: odd" in kept
    record = latest(read_records(tmp_path))["bad"]
    assert record["status"] == "failed" and record["error"] == text and "Traceback" not in text
