"""A day run in this process: cards come while it runs, it is held and released, and its exit code says what is still waited for."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

import rushlight.batch.api.day as days
from damaged_card import overwritten
from here import HereFarm, farm_here, run  # noqa: F401
from logged import latest, read_records
from rushlight.batch.api.cancel import Cancel
from rushlight.batch.api.nights import crew_for
from rushlight.batch.api.render import RenderResult
from rushlight.batch.day.shooting_day import load_day
from rushlight.batch.records.events import EVENTS
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Terms
from rushlight.batch.watch.completeness import Patience
from rushlight.batch.watch.day_run import run_day
from rushlight.batch.watch.day_watch import Pace
from rushlight.batch.watched_file import read_watched
from rushlight.pipelines.errors import QueueError
from small_days import SmallDay
from told_servers import mail_server


class Running:
    """A day that runs on a thread; `told` are its events."""

    def __init__(self, day: SmallDay, **options: Any) -> None:
        self.told: list[dict[str, Any]] = []
        self.cancel, self.came = Cancel(), threading.Condition()
        self.result: RenderResult | BaseException | None = None
        self.thread = threading.Thread(target=self._run, args=(day, options))
        self.thread.start()

    def _run(self, day: SmallDay, options: dict[str, Any]) -> None:
        options = {"still": 0.4, **options}
        try:
            self.result = days.run(
                day.file,
                queue=day.queue,
                every=0.05,
                on_event=self.tell,
                cancel=self.cancel,
                **options,
            )
        except BaseException as error:
            self.result = error
        with self.came:
            self.came.notify_all()

    def tell(self, event: dict[str, Any]) -> None:
        EVENTS.validate_python(event)
        with self.came:
            self.told.append(event)
            self.came.notify_all()

    def until(self, is_so: Callable[[list[dict[str, Any]]], bool]) -> None:
        with self.came:
            assert self.came.wait_for(lambda: is_so(self.told) or self.result is not None, 120), self.told
            assert is_so(self.told), (self.result, self.told)

    def done(self, count: int) -> None:
        self.until(lambda told: sum(e["event"] == "done" for e in told) >= count)

    def ended(self) -> RenderResult:
        self.cancel.cancel()
        self.thread.join(60)
        assert isinstance(self.result, RenderResult), self.result
        return self.result


@pytest.fixture
def day(tmp_path: Path, farm_here: HereFarm) -> SmallDay:  # noqa: F811
    return SmallDay(tmp_path)


def test_cards_are_made_as_they_come(day: SmallDay) -> None:
    running = Running(day)
    day.put(day.made("A001", ["A001C001"]))
    running.done(1)
    day.put(day.made("A002", ["A002C001", "A002C002"]))
    running.done(3)
    ended = running.ended()
    assert ended.code == 0 and not ended.failed
    assert {r["clip"]: r["status"] for r in latest(read_records(day.out)).values()} == {
        "media/A001/A001C001.mov": "done",
        "media/A002/A002C001.mov": "done",
        "media/A002/A002C002.mov": "done",
    }
    kept = read_watched([day.out])
    assert kept and [(card.name, card.state, card.how) for card in kept.cards] == [
        ("A001", "complete", "by having stood still"),
        ("A002", "complete", "by having stood still"),
    ]


def test_its_people_are_told_how_it_ended(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    with mail_server() as server:
        told = f'port = {server.port}\nserver = "127.0.0.1"\nsecurity = "none"\nsender = "a@example.com"\nmail = "b@example.com"'
        day = SmallDay(tmp_path, f"[tell]\n{told}\n")
        running = Running(day)
        day.put(day.made("A001", ["A001C001"]))
        running.done(1)
        assert running.ended().code == 0
    assert [mail["Subject"] for mail in server.mails] == ["The Lamp Room, day 12: done, 1 of 1 ready"]


def test_a_held_day_takes_in_and_renders_nothing_before_it_is_released(day: SmallDay) -> None:
    running = Running(day, hold=True)
    day.put(day.made("A001", ["A001C001"]))
    running.until(lambda told: any(e["event"] == "card taken in" for e in told))
    assert "A001C001.mov held" in " ".join(run("queue", "list", "--queue", day.queue)[1].split())
    code, said = run("day", "release", day.file, "--queue", day.queue)
    assert code == 0 and said.startswith("released: 1 job held so far")
    running.done(1)
    assert not any(
        e["event"] == "started"
        for e in running.told[: [e["event"] for e in running.told].index("card taken in")]
    )
    assert running.ended().code == 0


def test_what_is_still_waited_for_is_said_at_the_end_and_is_no_success(day: SmallDay) -> None:
    day.file.write_text("wait_for_grade = true\n" + day.file.read_text())
    day.put(day.made("A001", ["A001C001", "A001C002"]))
    day.grade("A001C001")
    half = day.put(day.made("A002", ["A002C001"]))
    (half / "A002C001.mov").rename(half / "A002C001.mov.part")
    running = Running(day, still=3)
    running.done(1)
    ended = running.ended()
    assert ended.code == 1
    problems = [e["text"] for e in running.told if e["event"] == "problem"]
    assert problems == [
        "card A002 was not taken in: A002C001.mov.part has the name of a copy that is not finished; it waits for that"
    ]
    assert running.told[-1]["event"] == "summary"  # the last word, whoever else had something to say


def test_a_grade_that_comes_later_makes_only_what_it_changes(day: SmallDay) -> None:
    day.put(day.made("A001", ["A001C001", "A001C002"]))
    running = Running(day)
    running.done(2)
    day.grade("A001C001")
    running.done(3)
    assert running.ended().code == 0
    done = [r["clip"] for r in read_records(day.out) if r["status"] == "done"]
    assert sorted(done) == ["media/A001/A001C001.mov"] * 2 + ["media/A001/A001C002.mov"]


def test_a_card_taken_away_while_it_waits_in_the_queue(day: SmallDay) -> None:
    card = day.put(day.made("A001", ["A001C001"]))
    running = Running(day, hold=True)
    running.until(lambda told: any(e["event"] == "card taken in" for e in told))
    card.rename(day.folder / "unplugged")
    running.until(lambda told: any(e["event"] == "card gone" for e in told))
    days.release(day.file, queue=day.queue)
    running.until(lambda told: any(e["event"] == "waiting" and "not there" in e["text"] for e in told))
    (day.folder / "unplugged").rename(card)
    running.done(1)
    assert running.ended().code == 0
    assert [r["status"] for r in read_records(day.out)] == ["done"]


def test_a_queue_that_another_runs_is_not_fed(day: SmallDay) -> None:
    from rushlight.batch.queue.locks import hold_queue

    day.put(day.made("A001", ["A001C001"]))
    with hold_queue(day.queue):
        running = Running(day)
        running.thread.join(60)
    assert isinstance(running.result, QueueError) and not (day.out / "log").exists()


def test_a_day_that_says_not_where_to_is_refused(day: SmallDay) -> None:
    day.file.write_text(day.file.read_text().replace('out = "out"\n', ""))
    code, said = run("day", "run", day.file, "--queue", day.queue)
    assert code == 2 and 'takes `out = "FOLDER"`' in said


def test_it_ends_by_itself_at_its_moment(day: SmallDay) -> None:
    told: list[dict[str, Any]] = []
    events, soon = EventStream(told.append), datetime.now(UTC) + timedelta(seconds=1)
    pace = Pace(every=0.05, cards=Patience(quiet=0.2))
    crew = crew_for({"workers": 1})
    code = run_day(
        load_day(day.file),
        day.queue,
        crew=crew,
        until=soon,
        hold=False,
        pace=pace,
        events=events,
        terms=Terms(),
    )
    assert code == 0 and told[-1]["event"] == "summary" and datetime.now(UTC) >= soon
    assert any("nothing new is started after" in str(e.get("text")) for e in told)


def test_an_original_that_is_copied_again_whole_is_made_again(day: SmallDay) -> None:
    movie = day.put(day.made("A001", ["A001C001"], frames=3)) / "A001C001.mov"
    whole, moment = movie.read_bytes(), movie.stat().st_mtime_ns
    overwritten(movie, 1)
    os.utime(movie, ns=(moment, moment))
    for night, revision in enumerate((1, 1, 2, 2)):
        if night == 2:
            movie.write_bytes(whole)
            os.utime(movie, ns=(moment, moment))
        running = Running(day)
        try:
            running.until(lambda told: any(e["event"] == "queued" for e in told))
            if night in (0, 2):
                running.done(1)
        finally:
            ended = running.ended()
        assert ended.code == 0
        (record,) = latest(read_records(day.out)).values()
        assert record["revision"] == revision
        assert [each["frame"] for each in record["damage"]] == ([1] if night < 2 else [])
        said = [e["text"] for e in running.told if "can be read now; made again" in str(e.get("text"))]
        assert len(said) == (night == 2)


def test_the_page_says_which_card_is_gone_and_no_longer_once_the_day_says_so(day: SmallDay) -> None:
    card = day.put(day.made("A001", ["A001C001"]))
    for night in range(3):
        if night == 2:
            day.file.write_text('gone = ["A001"]\n' + day.file.read_text())
        running = Running(day)
        try:
            if night == 0:
                running.done(1)
                shutil.rmtree(card)
                running.until(lambda told: any(e["event"] == "card gone" for e in told))
            if night == 2:
                running.until(lambda told: any("gone for good" in str(e.get("text")) for e in told))
        finally:
            ended = running.ended()
        assert ended.code == 0
        page = (day.out / "report" / "index.html").read_text()
        assert ("the card is gone:" in page) == (night < 2)
