"""A cancel from another thread while a list is read and planned: heard at the next row, folder or block."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import rushlight
from here import HereFarm, farm_here, small_day, write_list
from rushlight.batch.interrupts import Stop, Stopped, cancellable
from rushlight.batch.lists.find_media import originals_below
from rushlight.batch.plan import original_hashes
from rushlight.batch.plan.growing_originals import Growth
from rushlight.batch.plan.plan_row import RowPlanner
from rushlight.pipelines.originals.probe import full_hash, probe

pytestmark = pytest.mark.usefixtures("farm_here")
__all__ = ["farm_here"]


@pytest.fixture
def day(tmp_path: Path) -> Path:
    """Two clips, and eight rows of which the originals are absent."""
    small_day(tmp_path)
    return write_list(tmp_path / "long.csv", {f"A001C{n:03}": {} for n in range(1, 11)})


def elsewhere(call: Callable[[], object]) -> None:
    """Have it called on a thread of its own."""
    thread = threading.Thread(target=call)
    thread.start()
    thread.join()


@pytest.fixture
def rows(monkeypatch: pytest.MonkeyPatch) -> tuple[rushlight.Cancel, list[str]]:
    """A cancel that is asked for while the second row is planned, and the rows that are."""
    cancel, planned = rushlight.Cancel(), list[str]()
    real = RowPlanner.into

    def into(self: RowPlanner, plan: Any, row: Any) -> None:
        planned.append(row.clip)
        if len(planned) == 2:
            elsewhere(cancel.cancel)
        real(self, plan, row)

    monkeypatch.setattr(RowPlanner, "into", into)
    return cancel, planned


def test_what_only_reads_raises(day: Path, rows: tuple[rushlight.Cancel, list[str]]) -> None:
    cancel, planned = rows
    with pytest.raises(rushlight.CancelledError):
        rushlight.plan(day, recipe=day.parent / "two.toml", cancel=cancel)
    assert len(planned) == 2
    for again in (
        lambda: rushlight.grades(day, to=day.parent / "grades", cancel=cancel),
        lambda: rushlight.look(day, "A001C001", cancel=cancel),
    ):
        with pytest.raises(rushlight.CancelledError):
            again()
    assert len(planned) == 2
    assert not (day.parent / "grades").exists()


def test_a_night_off_the_main_thread(day: Path, rows: tuple[rushlight.Cancel, list[str]]) -> None:
    cancel, planned = rows
    out = day.parent / "out"
    found: list[rushlight.RenderResult] = []
    elsewhere(
        lambda: found.append(rushlight.render(day, recipe=day.parent / "two.toml", out=out, cancel=cancel))
    )
    assert (found[0].stopped, found[0].code, found[0].delivered) == (True, 3, ())
    assert len(planned) == 2
    assert not out.exists()


def test_a_list_that_is_queued(day: Path, rows: tuple[rushlight.Cancel, list[str]]) -> None:
    """Not at all, and neither is the next; the same call goes on."""
    cancel, planned = rows
    options: dict[str, Any] = {
        "recipe": day.parent / "two.toml",
        "out": day.parent / "out",
        "queue": day.parent / "q.sqlite",
    }
    found = rushlight.queue.add([day, day.parent / "day.csv"], cancel=cancel, **options)
    assert (found.stopped, found.code, found.queue.jobs) == (True, 3, ())
    assert len(planned) == 2
    again = rushlight.queue.add([day, day.parent / "day.csv"], **options)
    assert (again.stopped, again.code) == (False, 1)
    assert sorted(job.state for job in again.queue.jobs) == ["queued"] * 2 + ["set aside"] * 8


def test_originals_that_are_hashed_whole(
    day: Path, farm_here: HereFarm, monkeypatch: pytest.MonkeyPatch
) -> None:
    cancel, hashed = rushlight.Cancel(), list[Path]()

    def hashing(facts: Any) -> str:
        hashed.append(facts.path)
        elsewhere(cancel.cancel)
        return full_hash(facts)

    monkeypatch.setattr(original_hashes, "full_hash", hashing)
    found = rushlight.render(
        day.parent / "day.csv",
        recipe=day.parent / "two.toml",
        out=day.parent / "out",
        cancel=cancel,
        hash_originals=True,
    )
    assert (found.stopped, found.left, len(hashed), farm_here.calls) == (True, 2, 1, [])


def test_a_growing_original_is_waited_for_no_longer(day: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Growth, "_as_planned", lambda self, clip: False)
    cancel = rushlight.Cancel()

    def told(event: dict[str, Any]) -> None:
        if event["event"] == "waiting":
            elsewhere(cancel.cancel)

    (day.parent / "A001C001.mov").touch()  # just written
    found = rushlight.queue.add(
        day.parent / "day.csv",
        recipe=day.parent / "two.toml",
        out=day.parent / "out",
        queue=day.parent / "q.sqlite",
        on_event=told,
        cancel=cancel,
    )
    assert (found.stopped, found.code) == (True, 3)


def test_a_walk_is_left_at_the_next_folder(tmp_path: Path) -> None:
    for name in "abc":
        (tmp_path / name).mkdir()
    stop, walked = Stop(), list[str]()
    with pytest.raises(Stopped), cancellable(stop):
        for place, _, _ in originals_below([tmp_path]):
            walked.append(place.name)
            stop.ask()
    assert walked == [tmp_path.name]


def test_a_hash_is_left_at_the_next_block(day: Path) -> None:
    facts = probe(day.parent / "A001C001.mov")
    stop = Stop()
    with pytest.raises(Stopped), cancellable(stop):
        stop.ask()
        full_hash(facts)
    assert full_hash(facts).startswith("xxh3_128:")


def test_what_the_listener_raises_while_a_list_is_queued_is_raised(day: Path) -> None:
    def fails(event: dict[str, Any]) -> None:
        raise OSError("the caller's own")

    with pytest.raises(OSError, match="the caller's own"):
        rushlight.queue.add(
            day,
            recipe=day.parent / "two.toml",
            out=day.parent / "out",
            queue=day.parent / "q",
            on_event=fails,
        )
