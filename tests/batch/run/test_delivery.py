"""Results in: what is written down, what is owed while there is no room, and what a failure does to its clip."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logged import latest, read_records
from recorded import movie, recorded
from rushlight.batch.farm.tasks import Result
from rushlight.batch.job_log import append_record
from rushlight.batch.queue.state_machine import FINISH, Policy, Progress, SlotFree, step
from rushlight.batch.queue.store import Store, open_store
from rushlight.batch.records.job_record import read_record
from rushlight.batch.run import delivery as deliveries
from rushlight.batch.run.delivery import Delivery
from rushlight.batch.run.disk_room import Disks
from rushlight.batch.run.ended_jobs import Running, RunState
from rushlight.batch.run.events import Event, Place
from rushlight.pipelines.errors import ChangedError, DeliveryError, ResourceError, SourceError
from saturation import toy


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "q.sqlite") as store:
        store.run_alone()
        yield store


class Desk:
    """A delivery with one clip of two segments in hand."""

    def __init__(self, out: Path, store: Store) -> None:
        self.told: list[Event] = []
        self.store, self.out = store, out
        self.state = RunState(store=store, policy=Policy(), place=Place(), on_event=self.told.append)
        self.delivery = Delivery(self.state, Disks(self.told.append, 0), None)
        job = toy(out, "a", 2)
        store.add([job])
        store.set_state("a", "i", "running")
        plan = store.plan("a", "i")
        assert plan is not None
        self.running = Running(job=job, plan=plan, results={}, progress=Progress(todo=(0, 1)))
        self.state.active["a"] = self.running
        self.serial = 0

    def comes(self, value: dict[str, Any] | Exception) -> int:
        """The next task is given out, and comes home with this."""
        self.running.progress, action = step(self.running.progress, SlotFree(now=1e9), self.state.policy)
        assert action is not None
        self.serial += 1
        self.state.tasks[str(self.serial)] = ("a", action.number)
        failed = isinstance(value, Exception)
        given = {"error": value} if failed else {"value": value}
        self.delivery.take(Result(key=str(self.serial), **given))  # type: ignore[arg-type]
        self.delivery.write_down()
        return action.number

    def whats(self) -> list[str]:
        return [event.what for event in self.told]

    def row(self) -> str:
        return self.store.rows()[0].state


@pytest.fixture
def desk(tmp_path: Path, store: Store) -> Desk:
    return Desk(tmp_path, store)


def segment(n: int) -> dict[str, Any]:
    return {"index": n, "frames": 48, "files": []}


def test_a_clip_from_its_segments_to_its_record(desk: Desk) -> None:
    for n in (0, 1):
        assert desk.comes(segment(n)) == n
        assert sorted(desk.store.segments("a", "i")) == list(range(n + 1))
    assert desk.comes(recorded("a", frames=96)) == FINISH
    assert desk.whats() == ["segment", "segment", "done"]
    assert (desk.row(), desk.state.active) == ("done", {})
    assert (desk.state.summary.done, desk.state.summary.frames) == (["a"], 96)
    record = latest(read_records(desk.out))["a"]
    assert (record["status"], record["frames"], record["attempts"]) == ("done", 96, 0)


def test_frames_are_counted_as_they_were_when_work_began(desk: Desk) -> None:
    """What is made of an output that was missing is fewer frames than the clip has, or the clip's once more."""
    for n in (0, 1):
        desk.comes(segment(n))
    desk.comes(recorded("a", frames=24))
    assert desk.state.summary.frames == desk.running.job.frames == 96


def test_a_straggler_of_a_job_that_was_given_up_changes_nothing(desk: Desk) -> None:
    desk.state.tasks["late"] = ("gone", 0)
    desk.delivery.take(Result(key="late", value=segment(0)))
    desk.delivery.take(Result(key="never heard of", value=segment(0)))
    desk.delivery.write_down()
    assert (desk.told, desk.delivery.owing, desk.state.tasks) == ([], False, {})


@pytest.mark.parametrize("error", [SourceError("does not decode"), ZeroDivisionError("odd")])
def test_what_will_not_do_ends_its_clip_with_the_reason(desk: Desk, error: Exception) -> None:
    desk.comes(error)
    record = latest(read_records(desk.out))["a"]
    assert record["status"] == desk.row() == desk.whats()[-1]
    assert desk.row() == "failed"
    assert str(error) in record["error"]
    assert desk.state.active == {}


def test_a_delivery_that_is_wrong_is_tried_again_then_given_up(desk: Desk) -> None:
    bad = DeliveryError("is 3 frames short", file="x.mov")
    for n in (0, 1):
        desk.comes(segment(n))
    for _ in range(20):
        if desk.row() == "running":
            todo = desk.running.progress.todo
            desk.comes(segment(todo[0]) if todo else bad)
    assert desk.whats().count("retry") >= 1
    assert desk.row() in ("failed", "set aside")
    assert "is 3 frames short" in latest(read_records(desk.out))["a"]["error"]


def test_what_somebody_else_wrote_into_the_log_is_known(desk: Desk) -> None:
    """A list that is read meanwhile gives a delivered file its new name: what holds of it is the new record."""
    record = read_record(recorded("b", movie(path="editorial/1.mov")))
    desk.delivery.log(desk.out, record)
    append_record(desk.out, read_record(recorded("b", movie(path="editorial/2.mov"))))
    found = desk.delivery.before(desk.out, "b")
    assert found and [entry.path for entry in found.outputs] == ["editorial/2.mov"]


def test_an_original_that_changed_is_to_be_planned_again(desk: Desk) -> None:
    desk.comes(ChangedError("its size is another"))
    assert desk.whats() == ["changed"]
    assert (desk.row(), list(desk.state.summary.changed)) == ("queued", ["a"])
    assert not read_records(desk.out)


def test_what_cannot_be_written_is_owed_and_the_run_pauses(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rushlight.batch.run.disk_room.LOOK", 0)
    for n in (0, 1):
        desk.comes(segment(n))
    real, full = deliveries.append_record, [True]

    def append(out: Path, record: Any) -> None:
        if full[0]:
            raise ResourceError("no space left on the disk", file=str(out / "log"))
        real(out, record)

    monkeypatch.setattr(deliveries, "append_record", append)
    desk.comes(recorded("a", frames=96))
    assert desk.delivery.owing and "no space left" in desk.delivery.fault
    assert (desk.whats()[-1], desk.row()) == ("paused", "running")
    full[0] = False
    desk.delivery.write_down()
    assert (desk.delivery.owing, desk.delivery.fault, desk.row()) == (False, "", "done")
    assert [r["status"] for r in read_records(desk.out)] == ["done"]


def test_a_fault_of_our_own_costs_the_clip_and_is_traced(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def odd(*_: Any) -> Any:
        raise ZeroDivisionError("odd")

    before = recorded("a", movie(revision=2), revision=2)
    append_record(desk.out, read_record(before))
    monkeypatch.setattr(deliveries, "delivered_record", odd)
    for n in (0, 1):
        desk.comes(segment(n))
    desk.comes(recorded("a", frames=96))
    last = latest(read_records(desk.out))["a"]
    assert (last["status"], last["revision"], last["outputs"]) == ("failed", 2, before["outputs"])
    assert (desk.row(), desk.state.summary.failed[0][0]) == ("failed", "a")
    assert "ZeroDivisionError: odd" in (desk.out / "log" / "errors.txt").read_text()


def test_a_card_that_does_not_grade_is_said_once_a_machine(desk: Desk) -> None:
    for n, machine in enumerate(("cart", "cart")):
        desk.comes({**segment(n), "machine": machine, "no_card": f"the card failed: {n}"})
    said = [event.text for event in desk.told if event.what == "warning"]
    assert said == ["on cart the processor grades, with the same colour: the card failed: 0"]
    assert sorted(desk.store.segments("a", "i")) == [0, 1]
