"""A watched day read again and again: what is away stays asked for, and what is made keeps its place."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from here import RECIPE
from pictures import numbered, write_movie
from rushlight.batch.api.requests import requests_of
from rushlight.batch.plan.away_clips import take_out_arriving
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.plan.request_ledger import Asking, keep_asking
from rushlight.batch.run.request_accounts import asking_of

DAY = """
media = ["media"]
recipes = ["small.toml"]
out = "out"
[[default]]
file = "*"
encoding = "LogC3"
"""


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two cards, each of which begins with C0001, as many cameras have it."""
    place = tmp_path_factory.mktemp("clips")
    for number, card in enumerate(("A001", "A002")):
        (place / card).mkdir()
        pictures = [numbered(10 * number + n) for n in range(2 + number)]
        write_movie(place / card / "C0001.mov", pictures, reel=card, timecode=f"0{number + 1}:00:00:00")
    return place


class Day:
    """A day read again whenever something came or went."""

    def __init__(self, folder: Path) -> None:
        (folder / "media").mkdir()
        (folder / "out").mkdir()
        one, _, _ = RECIPE.rpartition("[[output]]")
        (folder / "small.toml").write_text(one)
        (folder / "day.toml").write_text(DAY)
        self.folder, self.media = folder, folder / "media"

    def request(self, *cards: str, away: tuple[str, ...] = ()) -> Request:
        media = [self.media / card for card in cards]
        (found,) = requests_of(self.folder / "day.toml", {"media": media})
        return replace(found, away=tuple(self.media / card for card in away))

    def read(self, *cards: str, away: tuple[str, ...] = ()) -> Prepared:
        found = prepare(self.request(*cards, away=away))
        keep_asking(self.folder / "out", self.asking(found))
        return found

    def asking(self, prepared: Prepared) -> Asking:
        return asking_of(prepared)


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return Day(tmp_path)


def test_a_card_that_is_gone_is_no_row_less(day: Day, clips: Path) -> None:
    shutil.copytree(clips / "A001", day.media / "A001")
    shutil.copytree(clips / "A002", day.media / "A002")
    before = day.asking(day.read("A001", "A002"))
    shutil.rmtree(day.media / "A002")
    now = day.read("A001", away=("A002",))
    assert not now.plan.wrong and [row.clip for row in now.carried] == ["media/A002/C0001.mov"]
    assert {row.job for row in day.asking(now).rows} == {row.job for row in before.rows}


def test_one_that_is_copied_on_to_keeps_the_rows_that_it_had(day: Day, clips: Path) -> None:
    shutil.copytree(clips / "A001", day.media / "A001")
    shutil.copytree(clips / "A002", day.media / "A002")
    day.read("A001", "A002")
    now = day.read("A001", away=("A002",))  # its files are there, and are not looked at
    assert [row.clip for row in now.carried] == ["media/A002/C0001.mov"]


def test_a_twin_that_comes_later_does_not_move_what_is_made(day: Day, clips: Path) -> None:
    shutil.copytree(clips / "A001", day.media / "A001")
    (first,) = day.read("A001").plan.clips
    shutil.copytree(clips / "A002", day.media / "A002")
    found = {clip.reel: clip for clip in day.read("A001", "A002").plan.clips}
    assert first.folder == found["A001"].folder == "" and found["A002"].folder == "A002"
    again = {clip.reel: job_id(clip) for clip in day.read("A001", "A002").plan.clips}
    assert again == {reel: job_id(clip) for reel, clip in found.items()}


def test_a_twin_of_a_clip_that_is_gone_does_not_take_its_place(day: Day, clips: Path) -> None:
    shutil.copytree(clips / "A001", day.media / "A001")
    (first,) = day.read("A001").plan.clips
    (day.media / "A001").rename(day.folder / "unplugged")
    shutil.copytree(clips / "A002", day.media / "A002")
    (second,) = day.read("A002", away=("A001",)).plan.clips
    assert job_id(second) != job_id(first) and second.folder == "A002"


def test_a_volume_name_that_comes_again_does_not_replace_what_was_there(day: Day, clips: Path) -> None:
    """The same folder with another card's C0001: both stay asked for, each in a place of its own."""
    shutil.copytree(clips / "A001", day.media / "UNTITLED")
    (first,) = day.read("UNTITLED").plan.clips
    shutil.rmtree(day.media / "UNTITLED")
    shutil.copytree(clips / "A002", day.media / "UNTITLED")
    for _ in range(2):
        now = day.read("UNTITLED", away=("UNTITLED",))  # there, and one of its name gone
        (second,) = now.plan.clips
        assert [row.job for row in now.carried] == [job_id(first)] and job_id(second) != job_id(first)
        assert len(day.asking(now).rows) == 2


def test_a_renamed_card_keeps_its_jobs(day: Day, clips: Path) -> None:
    shutil.copytree(clips / "A001", day.media / "A001")
    shutil.copytree(clips / "A002", day.media / "A002")
    before = {job_id(clip) for clip in day.read("A001", "A002").plan.clips}
    (day.media / "A002").rename(day.media / "A002 day 12")
    now = day.read("A001", "A002 day 12")
    assert {job_id(clip) for clip in now.plan.clips} == before and now.carried == ()


def test_a_list_whose_card_is_gone_waits_as_well(day: Day, clips: Path) -> None:
    shutil.copytree(clips / "A002", day.media / "A002")
    (day.folder / "clips.csv").write_text("clip\nA002/C0001.mov\nA009/C0009.mov\n")
    with (day.folder / "day.toml").open("r+") as stream:
        text = stream.read()
        stream.seek(0)
        stream.write('list = "clips.csv"\n' + text)
    whole = replace(day.request("A002"), media=(day.media,))
    keep_asking(day.folder / "out", day.asking(prepare(whole)))
    (day.media / "A002").rename(day.folder / "unplugged")
    now = prepare(replace(whole, away=(day.media / "A002",)))
    assert [row.clip for row in now.carried] == ["A002/C0001.mov"]
    assert now.plan.wrong == [] and [row.clip for row in now.not_come] == ["A009/C0009.mov"]
    assert len(day.asking(now).rows) == 2
    (unwatched,) = [
        row.clip for row, _ in prepare(replace(whole, away=None)).plan.wrong if "A009" in row.clip
    ]
    assert unwatched == "A009/C0009.mov"  # a render says what is not there


def test_what_lies_in_a_folder_that_is_being_copied_is_taken_out(day: Day, clips: Path) -> None:
    shutil.copytree(clips / "A001", day.media / "A001")
    shutil.copytree(clips / "A002", day.media / "A002")
    (day.media / "A002" / "C0002.mov").write_bytes(b"half")
    plan = day.read("A001", "A002").plan
    assert len(plan.clips) == 2 and len(plan.broken) == 1
    assert take_out_arriving(plan, [], [day.media]) == ()
    found = take_out_arriving(
        plan, [day.media], [day.media / "A001"]
    )  # a card of its own in one that arrives
    assert [row.clip for row in found] == ["media/A002/C0001.mov", "media/A002/C0002.mov"]
    assert [clip.row.clip for clip in plan.clips] == ["media/A001/C0001.mov"]
    assert plan.broken == [] and plan.growing == list(found)


def test_a_day_that_nobody_watches_says_what_is_missing_as_ever(day: Day, clips: Path) -> None:
    shutil.copytree(clips / "A001", day.media / "A001")
    day.read("A001")
    shutil.copytree(clips / "A002", day.media / "A002")
    shutil.rmtree(day.media / "A001")
    now = prepare(replace(day.request("A002"), away=None))
    assert now.carried == () and len(now.plan.clips) == 1


def test_a_clip_that_is_missing_on_a_card_that_is_there_stays_asked_for(day: Day, clips: Path) -> None:
    """A share that shows half of its files, or a file that somebody moved: it is waited for, not forgotten."""
    shutil.copytree(clips / "A001", day.media / "A001")
    shutil.copy(clips / "A002" / "C0001.mov", day.media / "A001" / "C0002.mov")
    before = {clip.row.clip: job_id(clip) for clip in day.read("A001").plan.clips}
    (day.media / "A001" / "C0002.mov").unlink()
    now = day.read("A001")
    assert [row.job for row in now.carried] == [before["media/A001/C0002.mov"]]
    assert {row.job for row in day.asking(now).rows} == set(before.values())
