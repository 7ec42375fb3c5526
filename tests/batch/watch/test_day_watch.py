"""A day looked at again and again: what is queued, when it is planned anew, what it says, and what it keeps."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path
from typing import Any

import pytest

from rushlight.batch.day.shooting_day import load_day
from rushlight.batch.interrupts import Stop
from rushlight.batch.job_log import append_record, failure_record
from rushlight.batch.live.night_folder import NightFolder
from rushlight.batch.live.run_words import RunWords
from rushlight.batch.plan.prepare import read_list
from rushlight.batch.queue.store import open_store
from rushlight.batch.records.watched_day import WATCHED_FILE
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.request_accounts import day_in, row_ids
from rushlight.batch.watch.completeness import Patience
from rushlight.batch.watch.day_watch import DayWatch, Pace
from rushlight.batch.watched_file import read_watched
from small_days import SmallDay

PACE = Pace(cards=Patience(quiet=60, looks=3, unfinished=600), inputs=5)


class Watched(SmallDay):
    """A day and its watch, on a clock of the test's own."""

    def __init__(self, folder: Path, more: str = "") -> None:
        super().__init__(folder, more)
        self.told: list[dict[str, Any]] = []
        self.now = 1000.0
        self.begin()

    def begin(self, *, hold: bool = False) -> None:
        self.watch = DayWatch(
            load_day(self.file),
            self.queue,
            hold=hold,
            events=EventStream(self.told.append),
            stop=Stop(),
            pace=PACE,
        )

    def polled(self, seconds: float = 61, times: int = 4) -> dict[str, str]:
        """Look so often in so many seconds; gives the state of each row of the queue by clip."""
        for _ in range(times):
            self.watch.poll(self.now)
            self.now += seconds / (times - 1)
        with open_store(self.queue) as store:
            return {row.clip: row.state for row in store.rows()}

    def said(self, *events: str) -> list[str]:
        return [
            str(e.get("card") or e.get("clip") or e.get("text")) for e in self.told if e["event"] in events
        ]

    def plans(self) -> int:
        return len([e for e in self.told if e["event"] == "queued"])


@pytest.fixture
def day(tmp_path: Path) -> Watched:
    return Watched(tmp_path)


def test_a_card_is_taken_in_once_and_nothing_is_planned_while_nothing_comes(day: Watched) -> None:
    day.put(day.made("A001", ["A001C001", "A001C002"]))
    assert day.polled() == {"media/A001/A001C001.mov": "queued", "media/A001/A001C002.mov": "queued"}
    assert day.said("card arriving", "card taken in") == ["A001", "A001"]
    assert day.plans() == 1
    day.polled(seconds=1000, times=10)
    assert day.plans() == 1 and day.said("problem") == []


def test_a_card_that_arrives_does_not_wait_for_another(day: Watched) -> None:
    day.put(day.made("A001", ["A001C001"]))
    growing = day.put(day.made("A002", ["A002C001"]))
    whole = (growing / "A002C001.mov").read_bytes()
    for size in (2000, 3000, 4000, 5000):
        (growing / "A002C001.mov").write_bytes(whole[:size])
        found = day.polled(seconds=30, times=2)
    assert found == {"media/A001/A001C001.mov": "queued"}
    (growing / "A002C001.mov").write_bytes(whole)
    assert len(day.polled()) == 2


def test_a_renamed_card_has_its_queued_clips_where_they_are_now(day: Watched) -> None:
    card = day.put(day.made("A001", ["A001C001"]))
    day.polled()
    card.rename(day.media / "A001 day 12")
    assert day.polled() == {"media/A001 day 12/A001C001.mov": "queued"}
    with open_store(day.queue) as store:
        (row,) = store.rows()
        plan = store.plan(row.key, row.identity)
    assert plan and Path(plan.source.path).parent.name == "A001 day 12"
    assert day_in(day.out).counts()["listed"] == 1


def test_a_card_that_is_gone_keeps_its_clips_and_another_comes_beside_it(day: Watched) -> None:
    card = day.put(day.made("A001", ["A001C001"]))
    day.polled()
    card.rename(day.folder / "unplugged")
    day.put(day.made("A002", ["A002C001"]))
    assert set(day.polled().values()) == {"queued"} and day.said("card gone") == ["A001"]
    assert day_in(day.out).counts()["listed"] == 2 and day.said("problem") == []


def test_a_clip_waits_for_its_grade_and_is_queued_alone_when_that_comes(tmp_path: Path) -> None:
    day = Watched(tmp_path, "wait_for_grade = true")
    day.put(day.made("A001", ["A001C001", "A001C002"]))
    assert day.polled() == {}
    assert day.said("waits for a grade") == ["media/A001/A001C001.mov", "media/A001/A001C002.mov"]
    kept = read_watched([day.out])
    assert kept and [each.clip for each in kept.no_grade] == day.said("waits for a grade")
    assert day.watch.waits
    day.grade("A001C002")
    assert day.polled(seconds=6) == {"media/A001/A001C002.mov": "queued"}
    assert len(day.said("waits for a grade")) == 2  # nothing is said twice


def test_a_grade_that_is_revised_plans_the_day_once(day: Watched) -> None:
    day.grade("A001C001", 0.5)
    day.put(day.made("A001", ["A001C001", "A001C002"]))
    day.polled()
    with open_store(day.queue) as store:
        before = {row.clip: row.identity for row in store.rows()}
    day.grade("A001C001", 0.6)
    day.polled(seconds=6)
    with open_store(day.queue) as store:
        after = {row.clip: row.identity for row in store.rows()}
    assert [clip for clip in after if after[clip] != before[clip]] == ["media/A001/A001C001.mov"]
    assert day.plans() == 2


def test_grades_that_are_away_are_waited_for(day: Watched) -> None:
    """A clip that has a grade is not made anew without it, and a new one is not made without it at first."""
    day.grade("A001C001")
    day.put(day.made("A001", ["A001C001"]))
    day.polled()
    day.grades.rename(day.folder / "unplugged")
    day.put(day.made("A002", ["A002C001"]))
    assert len(day.polled()) == 1 and day.plans() == 1
    assert "nothing is planned until that is back" in day.said("problem")[0]
    (day.folder / "unplugged").rename(day.grades)
    assert len(day.polled()) == 2


def test_sound_is_taken_up_once_its_copy_stands_still(day: Watched) -> None:
    day.put(day.made("A001", ["A001C001"]))
    day.polled()
    (day.folder / "sound").mkdir()
    (day.folder / "sound" / "T001.wav").write_bytes(b"RIFF")
    day.polled(seconds=30, times=2)
    assert day.plans() == 1
    day.polled()
    assert day.plans() == 2


def test_grades_that_are_wrong_are_said_once_and_mended_go_on(day: Watched) -> None:
    (day.grades / "odd.ccc").write_text("<ColorCorrectionCollection>")
    day.put(day.made("A001", ["A001C001"]))
    assert day.polled(seconds=600, times=12) == {}
    assert len(day.said("problem")) == 1 and "odd.ccc" in day.said("problem")[0]
    (day.grades / "odd.ccc").unlink()
    day.grade("A001C001")
    assert len(day.polled()) == 1


def test_a_day_that_is_spoilt_waits_until_it_is_mended(day: Watched) -> None:
    day.polled()
    good = day.file.read_text()
    day.file.write_text(good + "\nnonsense")
    day.put(day.made("A001", ["A001C001"]))
    assert day.polled() == {}
    assert len(day.said("problem")) == 1 and "until that is mended" in day.said("problem")[0]
    shutil.copytree(day.made("B001", ["B001C001"]), day.folder / "more" / "B001")
    day.file.write_text(good.replace('["media"]', '["media", "more"]'))
    assert len(day.polled(seconds=140, times=8)) == 2


def test_a_held_day_holds_what_comes(day: Watched) -> None:
    day.begin(hold=True)
    with open_store(day.queue) as store:
        store.hold_folder(day.out.absolute())
    day.put(day.made("A001", ["A001C001"]))
    assert day.polled() == {"media/A001/A001C001.mov": "held"}


def test_one_that_starts_again_takes_nothing_twice(day: Watched) -> None:
    day.put(day.made("A001", ["A001C001"]))
    day.polled()
    with open_store(day.queue) as store:
        before = store.rows()
    day.begin()
    day.polled(seconds=0, times=2)
    with open_store(day.queue) as store:
        assert [(row.key, row.identity, row.state) for row in store.rows()] == [
            (row.key, row.identity, row.state) for row in before
        ]
    (day.out / WATCHED_FILE).unlink()  # killed before it was written, at any moment
    day.begin()
    day.polled()
    with open_store(day.queue) as store:
        assert [row.key for row in store.rows()] == [row.key for row in before]


def test_a_failed_clip_is_left_to_a_person_when_the_day_is_planned_again(day: Watched) -> None:
    day.put(day.made("A001", ["A001C001"]))
    day.polled()
    with open_store(day.queue) as store:
        (row,) = store.rows()
        store.set_state(row.key, row.identity, "failed", error="odd")
    day.put(day.made("A002", ["A002C001"]))
    assert day.polled() == {"media/A001/A001C001.mov": "failed", "media/A002/A002C001.mov": "queued"}


def test_it_runs_beside_and_ends_with_what_did_not_come(day: Watched) -> None:
    day.put(day.made("A001", ["A001C001"]))
    day.watch.begin()
    for _ in range(200):
        if day.said("card arriving"):
            break
        time.sleep(0.05)
    day.watch.end()
    day.watch.end()
    assert day.said("problem") == [
        "card A001 was not taken in: 1 file so far, 9 kB; taken in once nothing has changed for 60 s"
    ]
    kept = read_watched([day.out])
    assert kept and not kept.watched


def test_a_card_that_is_gone_for_good_is_said_until_the_day_says_so(day: Watched) -> None:
    day.put(day.made("A001", ["A001C001"]))
    day.polled()
    coming = day.put(day.made("A002", ["A002C001"]))
    day.polled(seconds=10, times=2)
    shutil.rmtree(day.media / "A001")
    shutil.rmtree(coming)
    day.polled(seconds=10, times=2)
    assert day.watch.waits and day.watch.lacks_others
    day.watch.end()
    (*_, taken), (lost,) = day.said("warning"), day.said("problem")
    assert taken.startswith("card A001 is gone") and lost.startswith("card A002 was not taken in")
    assert taken.endswith('gone = ["A001"]') and lost.endswith('say so in day.toml: gone = ["A002"]')
    day.told.clear()
    day.begin()
    day.polled(seconds=10, times=2)
    day.file.write_text('gone = ["A001", "A002"]\n' + day.file.read_text())
    day.polled()
    assert [text.partition(",")[0] for text in day.said("note") if "card " in text] == [
        f"card {name} is gone for good" for name in ("A001", "A002")
    ]
    assert not day.watch.waits
    day.watch.end()
    assert not any("card" in text for text in day.said("warning", "problem"))
    kept = read_watched([day.out])
    assert kept and kept.cards == []
    day.begin()
    day.put(day.folder / "made" / "A001")  # it came back after all
    assert day.polled() == {"media/A001/A001C001.mov": "queued"}


def test_a_look_with_a_fault_of_our_own_does_not_end_the_day(
    day: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks: list[float] = []

    def odd(now: float) -> None:
        looks.append(now)
        raise ZeroDivisionError("odd")

    monkeypatch.setattr(day.watch, "poll", odd)
    monkeypatch.setattr(day.watch, "pace", Pace(every=0.01))
    day.watch.begin()
    while len(looks) < 3:
        time.sleep(0.01)
    day.watch.end()
    assert day.said("problem") == [
        "watching: a fault of rushlight's own: ZeroDivisionError: odd; it is tried again"
    ]


@pytest.fixture
def listed(tmp_path: Path) -> Watched:
    (tmp_path / "clips.csv").write_text("clip\nA001C001.mov\nA002C001.mov\nmedia/A002/A002C002.mov\n")
    return Watched(tmp_path, 'list = "clips.csv"')


def test_rows_whose_card_has_not_come_are_waited_for(listed: Watched) -> None:
    listed.put(listed.made("A001", ["A001C001"]))
    assert listed.polled() == {"A001C001.mov": "queued"}
    assert listed.said("set aside", "problem") == []
    said = listed.said("note", "warning")
    assert not any("fits no clip" in text for text in said)  # of those to come it may
    said = [text for text in listed.said("note") if "not come yet" in text]
    assert (
        len(said) == 1 and "3 clips have not come yet (A001C001.mov, " in said[0]
    )  # before the card was complete
    kept = read_watched([listed.out])
    assert (
        kept
        and kept.listed
        and [w.clip for w in kept.not_come] == ["A002C001.mov", "media/A002/A002C002.mov"]
    )
    assert listed.watch.waits
    counts = NightFolder(listed.out, listed.queue).state(RunWords(phase="rendering"), now=0.0).counts
    assert (counts.listed, counts.waiting, counts.arriving, counts.set_aside) == (3, 1, 2, 0)

    growing = listed.put(listed.made("A002", ["A002C001", "A002C002"]))
    listed.polled(seconds=4, times=2)
    counts = NightFolder(listed.out, listed.queue).state(RunWords(phase="rendering"), now=0.0).counts
    assert (counts.listed, counts.arriving) == (3, 2)  # those on the card that arrives are in the list
    assert growing.is_dir() and len(listed.polled()) == 3
    assert not listed.watch.waits and listed.said("set aside", "problem") == []


def test_a_row_by_its_path_waits_until_its_card_is_complete(listed: Watched) -> None:
    """Also where something else plans the day meanwhile."""
    listed.polled()
    card = listed.put(listed.made("A002", ["A002C001", "A002C002"]))
    for file in card.iterdir():
        os.utime(file, (1e9, 1e9))
    listed.grade("A002C002")
    assert listed.polled(seconds=20, times=4) == {} and listed.plans() == 2
    assert set(listed.polled()) == {"A002C001.mov", "media/A002/A002C002.mov"}


def test_rows_that_never_came_are_named_at_the_end(listed: Watched) -> None:
    listed.put(listed.made("A001", ["A001C001"]))
    listed.polled()
    listed.watch.end()
    assert listed.said("problem") == [
        "clips.csv: 2 clips did not come and are not made: A002C001.mov, media/A002/A002C002.mov"
    ]
    state = NightFolder(listed.out, listed.queue).state(RunWords(phase="over"), now=0.0)
    assert (state.counts.listed, state.counts.arriving, state.counts.set_aside) == (3, 0, 0)


def test_a_row_that_is_wrong_beside_is_set_aside_at_once(tmp_path: Path) -> None:
    (tmp_path / "clips.csv").write_text("clip,slope\nA002C001.mov,nonsense\n")
    day = Watched(tmp_path, 'list = "clips.csv"')
    assert day.polled() == {"A002C001.mov": "set aside"}
    with open_store(day.queue) as store:
        (row,) = store.rows()
    assert "slope" in row.error and "no such original" in row.error


def test_a_row_that_a_render_set_aside_before_is_waited_for(listed: Watched) -> None:
    listed.put(listed.made("A001", ["A001C001"]))
    (listed.out / "log").mkdir(parents=True)
    append_record(
        listed.out,
        failure_record(row_of(listed, "A002C001.mov"), "A002C001.mov", "set aside", "no such original"),
    )
    listed.polled()
    state = NightFolder(listed.out, listed.queue).state(RunWords(phase="rendering"), now=0.0)
    assert (state.counts.arriving, state.counts.set_aside, state.needs) == (2, 0, [])


def row_of(day: Watched, clip: str) -> str:
    """The job of a row of the day's list."""
    path = day.folder / "clips.csv"
    rows = read_list(path)[0].rows
    return next(job for (_, name), job in row_ids(path, rows).items() if name == clip)
