"""Tasks out: segments in order, a finish after the last, the next job when one has no more to give; and who has to wait."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from here import HereFarm
from manifests import HASH
from rushlight.batch.check import compare_ahead
from rushlight.batch.farm.tasks import LostWorker, Result, Task
from rushlight.batch.queue.state_machine import FINISH, Policy
from rushlight.batch.queue.store import QueuedJob, Store, open_store
from rushlight.batch.records.queue_row import QueuedPlan, SegmentResult
from rushlight.batch.run import feeding as feedings
from rushlight.batch.run.delivery import Delivery
from rushlight.batch.run.disk_room import Disks
from rushlight.batch.run.ended_jobs import RunState
from rushlight.batch.run.events import Event, Place, Work
from rushlight.batch.run.feeding import NOBODY, Feeding
from rushlight.pipelines.errors import OptionError, OutsideError, SourceError
from saturation import toy

TOYS = Work(segment="toywork:segment", finish="toywork:finish")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "q.sqlite") as store:
        store.run_alone()
        yield store


class Kitchen:
    """A feeding with all that it needs, and what it told."""

    def __init__(self, store: Store, *jobs: QueuedJob, slots: int = 2, place: Place | None = None) -> None:
        self.told: list[Event] = []
        self.state = RunState(store=store, policy=Policy(), place=place or Place(), on_event=self.told.append)
        self.farm = HereFarm(slots=slots)
        self.disks = Disks(self.told.append, 0)
        self.delivery = Delivery(self.state, self.disks, None)
        self.feeding = Feeding(self.state, self.farm, TOYS, self.disks, self.delivery)
        store.add(list(jobs))
        self.feeding.refresh()

    def given(self) -> list[tuple[str, int]]:
        """The tasks that are out: job and segment, or FINISH."""
        return list(self.state.tasks.values())

    def done(self) -> Task:
        """The oldest task comes home, and its place is filled again."""
        result = self.farm.results(0)[0]
        self.delivery.take(result)
        self.delivery.write_down()
        self.feeding.fill()
        return self.farm.calls[-1]


def test_segments_in_order_then_the_next_job_then_the_finish(tmp_path: Path, store: Store) -> None:
    kitchen = Kitchen(store, toy(tmp_path, "a", 2), toy(tmp_path, "b", 1))
    kitchen.feeding.fill()
    assert kitchen.given() == [("a", 0), ("a", 1)]
    kitchen.done()
    assert kitchen.given() == [("a", 1), ("b", 0)]  # the finish of a waits for its last segment
    kitchen.done()
    assert kitchen.given() == [("b", 0), ("a", FINISH)]
    assert [e.clip for e in kitchen.told if e.what == "started"] == ["a", "b"]


def threads(kitchen: Kitchen) -> list[object]:
    """Threads of the segments that are out, or were."""
    tasks = [*kitchen.farm.calls, *kitchen.farm.waiting]
    return [t.arguments[3] for t in tasks if t.function == TOYS.segment]


def test_idle_cores_are_shared_among_the_few_segments_there_are(tmp_path: Path, store: Store) -> None:
    kitchen = Kitchen(store, toy(tmp_path, "a", 2), slots=8)
    kitchen.feeding.fill()
    assert threads(kitchen) == [4, 4]


def test_what_waits_in_the_queue_counts_too(tmp_path: Path, store: Store) -> None:
    kitchen = Kitchen(store, toy(tmp_path, "a", 1), toy(tmp_path, "b", 7), slots=8)
    kitchen.feeding.fill()
    assert threads(kitchen) == [1] * 8


def test_the_last_segments_of_a_night_get_the_cores_that_nobody_needs(tmp_path: Path, store: Store) -> None:
    kitchen = Kitchen(store, toy(tmp_path, "a", 3), slots=2)
    kitchen.feeding.fill()
    kitchen.done()
    assert threads(kitchen) == [1, 1, 1]  # another is still being made when the last goes out
    alone = Kitchen(store, toy(tmp_path, "b", 1), slots=2)
    alone.feeding.fill()
    assert threads(alone) == [2]


def test_a_later_turn_of_the_same_clip_waits_for_no_core(tmp_path: Path, store: Store) -> None:
    first = toy(tmp_path, "a", 1)
    kitchen = Kitchen(store, replace(first, key="a/r"), replace(first, key="a/r+1"), slots=4)
    kitchen.feeding.fill()
    assert threads(kitchen) == [4]


def test_no_more_tasks_than_workers(tmp_path: Path, store: Store) -> None:
    kitchen = Kitchen(store, *(toy(tmp_path, name, 3) for name in "abc"), slots=1)
    kitchen.feeding.fill()
    kitchen.feeding.fill()
    assert kitchen.given() == [("a", 0)]


def test_what_an_earlier_run_made_is_not_given_out_again(tmp_path: Path, store: Store) -> None:
    job = toy(tmp_path, "a", 3)
    store.add([job])
    store.set_state("a", "i", "running")
    store.keep_segments([("a", "i", 1, SegmentResult(index=1, frames=1, files=[]))])
    store.set_state("a", "i", "queued")
    kitchen = Kitchen(store, slots=3)
    kitchen.feeding.fill()
    assert kitchen.given() == [("a", 0), ("a", 2)]
    assert [e.frames for e in kitchen.told if e.what == "started"] == [48]


def test_parts_of_one_clip_wait_for_each_other(tmp_path: Path, store: Store) -> None:
    first = toy(tmp_path, "a", 1)
    kitchen = Kitchen(store, replace(first, key="a/r"), replace(first, key="a/r+1"), slots=4)
    kitchen.feeding.fill()
    assert kitchen.given() == [("a/r", 0)]


class Taken(Place):
    """Folders of which another run, or a link, has one."""

    def __init__(self, why: str | Exception) -> None:
        super().__init__()
        self.why, self.asked = why, 0

    def claim(self, out: Path) -> str:
        self.asked += 1
        if isinstance(self.why, Exception):
            raise self.why
        return self.why


def test_a_folder_of_another_run_is_said_once_and_asked_for_later(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = Taken("another run has it")
    kitchen = Kitchen(store, toy(tmp_path, "a", 1), place=place)
    for _ in range(3):
        kitchen.feeding.fill()
    assert ([e.text for e in kitchen.told], place.asked, kitchen.given()) == (["another run has it"], 1, [])
    clock = [time.monotonic() + 4]
    monkeypatch.setattr(feedings.time, "monotonic", lambda: clock[0])
    kitchen.feeding.fill()
    assert (len(kitchen.told), place.asked) == (1, 2)
    clock[0] += 4
    place.why = ""
    kitchen.feeding.fill()
    assert (place.asked, kitchen.given()) == (3, [("a", 0)])


def test_a_folder_that_leads_out_fails_its_clip_alone(tmp_path: Path, store: Store) -> None:
    kitchen = Kitchen(store, toy(tmp_path, "a", 1), place=Taken(OutsideError("is a link", file="out/log")))
    kitchen.feeding.fill()
    assert {row.key: row.state for row in store.rows()} == {"a": "failed"}
    assert "is a link" in kitchen.state.summary.failed[0][1]


def test_a_folder_that_this_run_may_not_take_keeps_its_clips_queued_and_others_go_on(
    tmp_path: Path, store: Store
) -> None:
    asked = list[Path]()

    class Newer(Place):
        def claim(self, out: Path) -> str:
            asked.append(out)
            if out == tmp_path / "newer":
                raise OptionError("a newer version's", file=str(out))
            return ""

    jobs = [toy(tmp_path / "newer", "a", 9), toy(tmp_path / "newer", "b", 8), toy(tmp_path, "c", 1)]
    kitchen = Kitchen(store, *jobs, place=Newer())
    kitchen.feeding.fill()
    assert kitchen.given() == [("c", 0)]
    kitchen.state.version = -1
    kitchen.feeding.refresh()
    kitchen.feeding.fill()
    assert not kitchen.feeding.busy and asked == [tmp_path / "newer", tmp_path]
    assert {row.key: row.state for row in store.rows()} == {"a": "queued", "b": "queued", "c": "running"}


def test_what_is_held_or_dropped_meanwhile_is_not_started(tmp_path: Path, store: Store) -> None:
    kitchen = Kitchen(store, *(toy(tmp_path, name, 1) for name in "abc"), slots=3)
    with open_store(tmp_path / "q.sqlite") as other:  # of another process
        other.move(["a"], ["queued"], "held")
        other.drop(["b"])
    kitchen.feeding.refresh()
    kitchen.feeding.fill()
    assert kitchen.given() == [("c", 0)]


def test_that_nobody_works_is_said_once_after_a_while(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    kitchen = Kitchen(store, toy(tmp_path, "a", 1), slots=0)
    monkeypatch.setattr("rushlight.batch.run.disk_room.LOOK", 0)
    kitchen.feeding.fill()
    assert kitchen.told == []
    clock: Any = time.monotonic()
    monkeypatch.setattr(feedings.time, "monotonic", lambda: clock + 61)
    kitchen.feeding.fill()
    kitchen.feeding.fill()
    assert [(e.what, e.text) for e in kitchen.told] == [("paused", NOBODY)]


class Unplugged(Place):
    """Media of which some is away."""

    def __init__(self, *gone: str) -> None:
        super().__init__()
        self.gone = set(gone)

    def away(self, plan: QueuedPlan) -> str:
        return "the card is not there" if plan.job in self.gone else ""


def test_a_clip_whose_media_is_away_waits_and_others_go_on(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = Unplugged("a", "b")
    kitchen = Kitchen(store, *(toy(tmp_path, name, 1) for name in "abc"), slots=4, place=place)
    for _ in range(3):
        kitchen.feeding.fill()
    assert kitchen.given() == [("c", 0)] and not kitchen.feeding.busy
    assert [e.text for e in kitchen.told if e.what == "waiting"] == ["the card is not there"]
    assert {row.key: (row.state, row.attempts) for row in store.rows()} == {
        "a": ("queued", 0), "b": ("queued", 0), "c": ("running", 1),
    }  # fmt: skip
    place.gone.clear()
    now = time.monotonic() + feedings.MEDIA + 1
    monkeypatch.setattr(feedings.time, "monotonic", lambda: now)
    kitchen.feeding.fill()
    assert sorted(kitchen.given()) == [("a", 0), ("b", 0), ("c", 0)]


def test_media_taken_away_while_it_is_read_is_no_fault_of_the_clip(tmp_path: Path, store: Store) -> None:
    place = Unplugged()
    kitchen = Kitchen(store, toy(tmp_path, "a", 1), place=place)
    kitchen.feeding.fill()
    place.gone.add("a")
    running = kitchen.state.active["a"]
    kitchen.delivery.went_wrong(running, 0, SourceError("does not decode", file="a"))
    assert [(row.state, row.error) for row in store.rows()] == [("queued", "")]
    kitchen.feeding.refresh()
    kitchen.feeding.fill()
    assert not kitchen.state.active and not kitchen.state.summary.failed


def with_manifest(job: QueuedJob, original: Path, data: bytes) -> QueuedJob:
    """The job of that original, whose manifest has `data`."""
    row = {
        "path": str(original),
        "bytes": len(data),
        "kind": "xxh64",
        "hash": HASH["xxh64"](data),
        "manifest": "1.mhl",
    }
    record = {"manifest": {"verdict": "not compared yet"}, "compare": [row]}
    return replace(job, payload={**job.payload, "record": record, "source": {"path": str(original)}})


def filled(kitchen: Kitchen) -> None:
    """Filled until nothing is being compared any more."""
    for _ in range(500):
        kitchen.feeding.fill()
        if not any(not future.done() for future in kitchen.feeding.comparing._read.values()):
            break
        time.sleep(0.01)
    kitchen.feeding.fill()


def test_a_clip_is_given_out_once_its_original_was_compared_and_others_go_on(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    go = threading.Event()
    before = compare_ahead.compared
    monkeypatch.setattr(compare_ahead, "compared", lambda *more: (go.wait(10), before(*more))[1])
    original = tmp_path / "a.mov"
    original.write_bytes(b"1")
    kitchen = Kitchen(
        store, with_manifest(toy(tmp_path, "a", 1), original, b"1"), toy(tmp_path, "b", 1), slots=4
    )
    kitchen.feeding.fill()
    assert kitchen.given() == [("b", 0)]
    go.set()
    filled(kitchen)
    assert kitchen.given() == [("b", 0), ("a", 0)]
    running = kitchen.state.active["a"]
    assert running.plan.record.manifest and running.plan.record.manifest.verdict == "matches"
    assert running.plan.record.compare == [] and "verdict': 'matches'" in str(running.payload["record"])
    kitchen.feeding.comparing.close()


def test_a_clip_whose_original_differs_is_given_to_nobody(tmp_path: Path, store: Store) -> None:
    original = tmp_path / "a.mov"
    original.write_bytes(b"2")
    kitchen = Kitchen(
        store, with_manifest(toy(tmp_path, "a", 1), original, b"1"), toy(tmp_path, "b", 1), slots=4
    )
    filled(kitchen)
    assert kitchen.given() == [("b", 0)]
    ((clip, text),) = kitchen.state.summary.failed
    assert clip == "a" and "is not as its manifest has it (differs: its xxh64 is" in text
    assert {row.key: row.state for row in store.rows()}["a"] == "failed"
    kitchen.feeding.comparing.close()


def test_media_that_is_away_is_waited_for_before_it_is_compared(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    place, original = Unplugged("a"), tmp_path / "a.mov"
    kitchen = Kitchen(store, with_manifest(toy(tmp_path, "a", 1), original, b"1"), slots=4, place=place)
    filled(kitchen)
    assert not kitchen.given() and not kitchen.state.summary.failed
    place.gone.clear()
    original.write_bytes(b"1")
    now = time.monotonic() + feedings.MEDIA + 1
    monkeypatch.setattr(feedings.time, "monotonic", lambda: now)
    filled(kitchen)
    assert kitchen.given() == [("a", 0)]
    kitchen.feeding.comparing.close()


def test_media_pulled_out_while_it_is_compared_is_waited_for(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    place, original = Unplugged(), tmp_path / "a.mov"
    kitchen = Kitchen(store, with_manifest(toy(tmp_path, "a", 1), original, b"1"), slots=4, place=place)
    kitchen.feeding.compared(kitchen.feeding.queue[0])  # it is not there any more
    place.gone.add("a")
    filled(kitchen)
    assert not kitchen.state.summary.failed
    place.gone.clear()
    original.write_bytes(b"1")
    now = time.monotonic() + feedings.MEDIA + 1
    monkeypatch.setattr(feedings.time, "monotonic", lambda: now)
    filled(kitchen)
    assert kitchen.given() == [("a", 0)]
    kitchen.feeding.comparing.close()


def test_a_segment_is_told_whether_a_card_may_grade(tmp_path: Path, store: Store) -> None:
    kitchen = Kitchen(store, toy(tmp_path, "a", 1))
    kitchen.feeding.work = replace(TOYS, graphics="off")
    kitchen.feeding.fill()
    assert kitchen.farm.waiting[0].arguments[4] == "off" and TOYS.graphics == "auto"


def test_a_clip_whose_worker_died_is_graded_without_a_card(tmp_path: Path, store: Store) -> None:
    """A driver that crashes takes its worker along each time: it must not take the clip along as well."""
    kitchen = Kitchen(store, toy(tmp_path, "a", 1), toy(tmp_path, "b", 1))
    kitchen.feeding.fill()
    lost = kitchen.farm.waiting.pop(0)
    assert lost.arguments[4] == "auto"
    kitchen.delivery.take(Result(key=lost.key, error=LostWorker("the worker died while it ran this")))
    kitchen.delivery.write_down()
    kitchen.feeding.fill()
    assert [task.arguments[4] for task in kitchen.farm.waiting] == ["auto", "off"]
