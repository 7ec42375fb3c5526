"""A night by API: results are the command's, events are its JSON lines, nothing is printed, and a cancel stops it as the
first Ctrl-C does."""

from __future__ import annotations

import json
import signal
import threading
from pathlib import Path
from typing import Any

import pytest

import rushlight
from here import HereFarm, farm_here, files, run, small_day, write_list
from pictures import settled
from rushlight.batch.farm.dask_farm import Task
from rushlight.batch.records.events import EVENTS

pytestmark = pytest.mark.usefixtures("farm_here")
__all__ = ["farm_here"]


@pytest.fixture
def day(tmp_path: Path) -> Path:
    return small_day(tmp_path / "day")


def made(day: Path, **more: Any) -> rushlight.RenderResult:
    return rushlight.render(day, recipe=day.parent / "two.toml", out=day.parent / "out", **more)


def test_a_night_is_the_commands_and_silent(day: Path, capfd: pytest.CaptureFixture[str]) -> None:
    broken = day.parent / "A001C004.mov"
    broken.write_bytes(b"nothing")
    settled(broken)
    rows = {name: {} for name in ("A001C001", "A001C002", "A001C003", "A001C004")}
    odd = write_list(day.parent / "odd.csv", rows)
    events: list[dict[str, Any]] = []
    before = signal.getsignal(signal.SIGINT)
    found = made(odd, on_event=events.append)
    assert capfd.readouterr() == ("", "")
    assert signal.getsignal(signal.SIGINT) is before
    assert found.delivered == ("A001C002.mov", "A001C001.mov")  # the longest first
    assert [u.clip for u in found.set_aside] == ["A001C003.mov"]
    assert [u.clip for u in found.failed] == ["A001C004.mov"]
    assert (found.left, found.stopped, found.frames, found.code) == (0, False, 10, 1)
    assert [e["clip"] for e in events if e["event"] == "done"] == list(found.delivered)
    assert [e["sequence"] for e in events] == list(range(1, len(events) + 1))
    assert all(EVENTS.validate_python(event) for event in events)  # schema and time are in each
    there = day.parent / "by-command"
    code, text = run("render", odd, "--recipe", day.parent / "two.toml", "--out", there, "--json")
    said = [json.loads(line) for line in text.splitlines() if line.startswith("{")]
    assert code == 1
    told = [[e["event"] for e in each if e["event"] != "phase"] for each in (said, events)]
    assert told[0] == told[1]  # phases are told by the clock
    summary, ours = said[-1], dict(events[-1])
    for name in ("done", "unchanged", "set_aside", "failed", "left", "stopped", "frames"):
        assert summary[name] == ours[name]
    assert files(there, "editorial", "viewing") == files(day.parent / "out", "editorial", "viewing")


def test_the_same_call_makes_nothing_twice(day: Path, farm_here: HereFarm) -> None:
    made(day)
    tasks = len(farm_here.calls)
    found = made(day)
    assert (found.delivered, found.unchanged) == ((), ("A001C001.mov", "A001C002.mov"))
    assert len(farm_here.calls) == tasks > 0
    assert rushlight.report(day.parent / "out").page.is_file()


def test_cancel_from_another_thread_leaves_work_and_the_same_call_goes_on(
    day: Path, farm_here: HereFarm, capfd: pytest.CaptureFixture[str]
) -> None:
    cancel = rushlight.Cancel()

    def during(task: Task) -> None:
        thread = threading.Thread(target=cancel.cancel)
        thread.start()
        thread.join()

    farm_here.before, farm_here.slots = during, 1
    found: list[rushlight.RenderResult] = []
    night = threading.Thread(target=lambda: found.append(made(day, cancel=cancel)))
    night.start()
    night.join(120)
    assert capfd.readouterr() == ("", "")
    assert found[0].stopped
    assert found[0].left == 2
    assert found[0].delivered == ()
    assert len(farm_here.calls) == 1  # what was in hand, and no more
    farm_here.before = lambda task: None
    again = made(day)
    assert set(again.delivered) == {"A001C001.mov", "A001C002.mov"}
    assert (again.left, again.stopped) == (0, False)


def test_cancelled_before_it_starts_makes_nothing(day: Path, farm_here: HereFarm) -> None:
    cancel = rushlight.Cancel()
    cancel.cancel()
    found = made(day, cancel=cancel)
    assert (found.stopped, found.delivered, farm_here.calls) == (True, (), [])


def test_what_on_event_raises_stops_the_night_and_is_raised(day: Path, farm_here: HereFarm) -> None:
    def fails(event: dict[str, Any]) -> None:
        if event["event"] == "segment":
            raise OSError("the caller's own")

    with pytest.raises(OSError, match="the caller's own"):
        made(day, on_event=fails)
    again = made(day)
    assert {*again.delivered, *again.unchanged} == {"A001C001.mov", "A001C002.mov"}


def test_what_is_refused_is_an_error(day: Path, capfd: pytest.CaptureFixture[str]) -> None:
    odd = write_list(day.parent / "odd.csv", {"A001C001": {}, "A001C003": {}})
    with pytest.raises(rushlight.InputError, match=r"the list has 1 row with something wrong\n.*A001C003"):
        made(odd, strict=True)
    code, text = run("render", odd, "--recipe", day.parent / "two.toml", "--out", "x", "--strict")
    assert (code, text.count("with something wrong"), text.count("A001C003.mov")) == (2, 1, 1)
    capfd.readouterr()
    with pytest.raises(rushlight.InputError, match="--out is needed"):
        rushlight.render(day)
    with pytest.raises(rushlight.InputError, match="LIST, or --from"):
        rushlight.render(day, from_=day.parent)
    with pytest.raises(rushlight.InputError, match="--map without --scheduler"):
        made(day, map="/a=/b")
    with pytest.raises(TypeError, match="there is no option recipes"):
        made(day, recipes="x")
    assert not (day.parent / "out").exists()
    assert capfd.readouterr() == ("", "")


def test_again_from_what_a_folder_keeps(day: Path) -> None:
    made(day)
    for file in (day.parent / "out" / "editorial").iterdir():
        file.unlink()
    found = rushlight.render(from_=day.parent / "out", media=day.parent)
    assert found.delivered == ("A001C002.mov", "A001C001.mov")
    with pytest.raises(rushlight.InputError, match="--rate does not go with --from"):
        rushlight.render(from_=day.parent / "out", rate="24")


def test_a_queue_by_api(day: Path, farm_here: HereFarm, capfd: pytest.CaptureFixture[str]) -> None:
    queue, recipe = day.parent / "q.sqlite", day.parent / "two.toml"
    added = rushlight.queue.add(day, out=day.parent / "out", recipe=recipe, queue=queue)
    assert [(job.clip, job.state) for job in added.queue.jobs] == [
        ("A001C002.mov", "queued"),
        ("A001C001.mov", "queued"),
    ]
    told: list[dict[str, Any]] = []
    held = rushlight.queue.hold("A001C001*", queue=queue, on_event=told.append)
    assert [(e["event"], e["text"]) for e in told] == [("note", "hold: 1 clip")]
    assert sorted(job.state for job in held.queue.jobs) == ["held", "queued"]
    found = rushlight.queue.run(queue=queue)
    assert found.delivered == ("A001C002.mov",)
    rushlight.queue.release(all=True, queue=queue)
    assert rushlight.queue.run(queue=queue).delivered == ("A001C001.mov",)
    assert rushlight.queue.run(queue=queue).delivered == ()
    assert capfd.readouterr() == ("", "")
    code, text = run("queue", "list", "--queue", queue, "--json")
    assert (code, json.loads(text)) == (0, rushlight.queue.list(queue=queue).document())
    with pytest.raises(rushlight.InputError, match="names no clip in this queue"):
        rushlight.queue.drop("B*", queue=queue)
