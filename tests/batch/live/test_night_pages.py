"""The pages of a night kept current: written while it runs, right at the end, and never in its way."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from here import ENCODED, HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.error_log import ERRORS
from rushlight.batch.farm.dask_farm import Task
from rushlight.batch.job_log import append_record, failure_record, read_records
from rushlight.batch.live import night_pages
from rushlight.batch.live.night_pages import PAGE, STATE, NightPages
from rushlight.batch.live.run_words import RunWords
from rushlight.batch.queue.locks import hold_folder
from rushlight.batch.records.night_state import NOW, NightState
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.schemas import SCHEMAS, json_schema


def state_in(out: Path) -> NightState:
    return NightState.read(json.loads((out / STATE).read_bytes()))


def begun(out: Path) -> None:
    out.mkdir(exist_ok=True)
    append_record(out, failure_record("a", "a", "failed", "broken"))


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(night_pages, "EVERY", 0.0)
    monkeypatch.setattr(night_pages, "SHARE", 0)


def test_a_render_is_shown_while_it_runs_and_ends_with_the_reports_numbers(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    out, seen = tmp_path / "out", list[NightState]()

    def look(task: Task) -> None:
        """Until the page says that a clip is being made and how many are done, or for ten seconds."""
        done = sum(record.status == "done" for record in read_records(out))
        until = time.monotonic() + 10
        while time.monotonic() < until:
            if (out / STATE).exists():
                seen.append(state_in(out))
                if seen[-1].running and seen[-1].counts.delivered == done:
                    return
            time.sleep(0.02)
        pytest.fail("the page never said that a clip is being made")

    farm_here.before = look
    listed = small_day(tmp_path / "day", {"A001C001": 4, "A001C002": 6})
    with listed.open("a") as stream:
        stream.write("A001C009.mov,LogC3,narrow\n")
    assert run("render", listed, "--recipe", tmp_path / "day" / "two.toml", "--out", out)[0] == 1
    assert {s.counts.listed for s in seen} == {3} and {s.counts.set_aside for s in seen} == {1}
    assert any(s.counts.delivered == 1 and s.counts.running == 1 for s in seen)
    last = state_in(out)
    Draft202012Validator(json_schema(SCHEMAS[NOW])).validate(json.loads((out / STATE).read_bytes()))
    counts = json.loads((out / "report" / "batch.json").read_bytes())["counts"]
    ours = last.counts
    assert (last.phase, ours.listed, ours.delivered, ours.set_aside, ours.failed, ours.waiting, ours.ungraded) == (
        "over", counts["listed"], counts["delivered"], counts["set_aside"], counts["failed"], counts["not_yet"], counts["ungraded"],
    )  # fmt: skip
    page = (out / PAGE).read_text()
    assert page.count("data:image/jpeg;base64,") == 2 and "The night is over" in page
    assert {m.path for clip in last.ready for m in clip.movies if m.plays} == {
        f"viewing/A001C00{n}.mp4" for n in (1, 2)
    }
    for clip in last.ready:
        assert (out / clip.thumb).is_file() and (out / clip.movies[0].path).is_file()
    assert not list((out / "report").glob(".*"))


def test_a_queue_shows_each_folder_and_lets_it_go(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    listed, queue = small_day(tmp_path / "day", {"A001C001": 4}), tmp_path / "q.sqlite"
    for out in ("one", "two"):
        call = ("--recipe", tmp_path / "day" / "two.toml", "--out", tmp_path / out, "--queue", queue)
        assert run("queue", "add", listed, *call)[0] == 0
        assert not (tmp_path / out / PAGE).exists()
    assert run("queue", "run", "--queue", queue)[0] == 0
    for out in ("one", "two"):
        last = state_in(tmp_path / out)
        assert (last.phase, last.title, last.counts.listed, last.counts.delivered) == ("over", out, 1, 1)


def test_a_folder_that_was_let_go_is_not_touched_again(tmp_path: Path) -> None:
    begun(tmp_path)
    events = EventStream()
    with NightPages() as pages:
        events.followers.append(pages)
        events.hold(tmp_path, tmp_path / "q.sqlite")
        held = pages._folders[tmp_path]  # as the thread has it that is about to write
        events.let_go(tmp_path)
        assert state_in(tmp_path).phase == "over"
        (tmp_path / STATE).write_text("another run's")
        pages._write(held, RunWords())
        events.begin(clips=1, frames=1, workers=1)
    assert (tmp_path / STATE).read_text() == "another run's"


def test_a_run_that_is_refused_leaves_the_other_runs_page(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    listed = small_day(tmp_path / "day", {"A001C001": 4})
    begun(tmp_path / "out")
    (tmp_path / "out" / "report").mkdir()
    (tmp_path / "out" / PAGE).write_text("another run's")
    with hold_folder(tmp_path / "out"):
        code, said = run(
            "render", listed, *ENCODED, "--recipe", tmp_path / "day" / "two.toml", "--out", tmp_path / "out"
        )
    assert code == 2 and "is being rendered into" in said
    assert (tmp_path / "out" / PAGE).read_text() == "another run's" and not (
        tmp_path / "out" / STATE
    ).exists()


@pytest.mark.parametrize("error", [RuntimeError("the farm is gone"), KeyboardInterrupt()])
def test_how_a_run_broke_off_is_said(error: BaseException, tmp_path: Path) -> None:
    begun(tmp_path)
    pages = NightPages()
    with pytest.raises(type(error)), pages:
        pages.hold(tmp_path, tmp_path / "q.sqlite")
        raise error
    last = state_in(tmp_path)
    assert (last.phase, last.text) == (("broken off", "the farm is gone") if str(error) else ("stopped", ""))


def test_nothing_is_made_in_a_folder_where_nothing_stands(tmp_path: Path) -> None:
    with NightPages() as pages:
        pages.hold(tmp_path, tmp_path / "q.sqlite")
    assert list(tmp_path.iterdir()) == []


def test_whatever_goes_wrong_with_it_costs_the_night_nothing(tmp_path: Path) -> None:
    def breaks(out: Path, state: NightState) -> None:
        raise ValueError("nobody expected this")

    begun(tmp_path)
    with NightPages(breaks) as pages:
        pages.hold(tmp_path, tmp_path / "q.sqlite")
    assert (tmp_path / ERRORS).read_text().count(
        "nobody expected this"
    ) == 2  # once: its line, and the traceback's
    (tmp_path / PAGE).unlink()
    (tmp_path / PAGE).mkdir()  # it cannot be written
    with NightPages() as pages:
        pages.hold(tmp_path, tmp_path / "q.sqlite")
    assert (tmp_path / PAGE).is_dir()


def test_a_folder_behind_a_link_gets_no_page(tmp_path: Path) -> None:
    begun(tmp_path / "out")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "out" / "report").symlink_to(tmp_path / "elsewhere")
    with NightPages() as pages:
        pages.hold(tmp_path / "out", tmp_path / "q.sqlite")
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_it_takes_no_more_than_its_share(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However fast things change; a loaded machine only makes the share smaller."""
    monkeypatch.setattr(night_pages, "SHARE", 20)
    begun(tmp_path)
    events, costs = EventStream(), list[float]()

    def burns(out: Path, state: NightState) -> None:
        until = time.thread_time() + 0.01
        while time.thread_time() < until:
            pass

    with NightPages(burns) as pages:
        events.followers.append(pages)
        events.hold(tmp_path, tmp_path / "q.sqlite")
        start = time.monotonic()
        while time.monotonic() - start < 1.0:
            events.note("again")
            time.sleep(0.001)
        costs.append(pages.cost)
        elapsed = time.monotonic() - start
    assert 0.01 <= costs[0] <= elapsed / 20 + 0.1  # 0.1: what the last one may cost


KILLED = """
import os, signal, sys, time
from pathlib import Path
from rushlight.batch.live.night_pages import NightPages, PAGE
out = Path(sys.argv[1])
pages = NightPages()
pages.__enter__()
pages.hold(out, out / "q.sqlite")
while not (out / PAGE).exists():
    time.sleep(0.01)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_page_of_a_night_that_was_killed_says_how_to_tell(tmp_path: Path) -> None:
    begun(tmp_path)
    call = [sys.executable, "-c", KILLED, str(tmp_path)]
    assert subprocess.run(call, timeout=60, env={**os.environ}).returncode == -signal.SIGKILL
    assert not state_in(tmp_path).is_over
    page = (tmp_path / PAGE).read_text()
    assert "Written at" in page and "or nothing runs any more: look at the machine" in page
    (tmp_path / "report" / ".now.html.1-0.part").write_text(
        "torn"
    )  # as one that is killed while it writes leaves
    with NightPages() as pages:
        pages.hold(tmp_path, tmp_path / "q.sqlite")
    assert not list((tmp_path / "report").glob(".*")) and state_in(tmp_path).is_over
