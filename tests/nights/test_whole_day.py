"""A day of several lists into one folder: rows set aside are jobs until they are settled, and every count agrees."""

import csv
import json
import os
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from here import HereFarm, farm_here, run  # noqa: F401
from logged import latest, read_records
from pictures import numbered, write_movie
from rushlight.batch.run.request_accounts import day_in

STILLS = '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "128x72"\n'
HEADING = "clip,encoding,levels,slope,offset,power\n"
GOOD = "LogC3,narrow,1.1 1 1,0 0 0,1 1 1"
OTHER = "LogC3,narrow,1 1 1.2,0 0 0,1 1 1"
WRONG = "LogC3,narrow,1 1,0 0 0,1 1 1"


class Day:
    """Three clips and one more on the media, a damaged one, a file that is none; lists are the test's to write."""

    def __init__(self, place: Path) -> None:
        self.place, self.out, self.media = place, place / "out", place / "media"
        self.queue = ("--queue", place / "q.sqlite")
        self.given = ("--recipe", place / "stills.toml", "--out", self.out)
        self.media.mkdir()
        for number in range(4):
            clip = self.media / f"A001C00{number + 1}.mov"
            write_movie(clip, [numbered(10 * number + k) for k in range(2)], timecode=f"1{number}:00:00:00")
        (self.media / "A001C005.mov").write_bytes(b"damaged")
        (self.media / "notes.txt").write_text("x")
        for path in self.media.iterdir():
            os.utime(path, (1_700_000_000, 1_700_000_000))  # nobody is still writing them
        (place / "stills.toml").write_text(STILLS)

    def list(self, name: str, **rows: str) -> Path:
        path = self.place / f"{name}.csv"
        path.write_text(HEADING + "".join(f"{clip}.mov,{cells}\n" for clip, cells in rows.items()))
        return path

    def add(self, *lists: Path, media: Path | None = None) -> tuple[int, str]:
        return run("queue", "add", *lists, *self.given, "--media", media or self.media, *self.queue)

    def listed(self) -> dict[str, str]:
        code, said = run("queue", "list", "--json", *self.queue)
        assert code == 0, said
        return {row["clip"]: row["state"] for row in json.loads(said)}

    def told(self) -> dict[str, Any]:
        """The sums, once page, JSON, spreadsheet and log agree."""
        sums = day_in(self.out)
        counts, media = sums.counts(), sums.media
        assert media is not None
        document = json.loads((self.out / "report" / "batch.json").read_text())
        assert (document["counts"], document["media"]) == (counts, media)
        with (self.out / "report" / "batch.csv").open(encoding="utf-8", newline="") as stream:
            states = [row["status"] for row in csv.DictReader(stream)]
        names = {"delivered": "done", "set_aside": "set aside", "failed": "failed", "not_yet": "not yet"}
        assert len(states) == counts["listed"] == sum(counts[name] for name in names)
        assert all(states.count(state) == counts[name] for name, state in names.items())
        text = " ".join((self.out / "report" / "index.html").read_text().split())
        assert f"{counts['listed']} clips are listed" in text
        assert (
            f"{counts['delivered']} delivered, {counts['set_aside']} set aside, {counts['failed']} failed, "
            f"{counts['not_yet']} not made yet." in text
        )
        assert f"{media['found']} originals were found on the media" in text
        assert (
            media["found"]
            == media["listed"] + len(media["not_listed"]) + len(media["unreadable"]) + media["ignored"]
        )
        made = [r["source"]["path"] for r in latest(read_records(self.out)).values() if r["status"] == "done"]
        assert not set(made) & set(media["not_listed"])
        return counts | {"found": media["found"], "not_listed": [Path(p).name for p in media["not_listed"]]}


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return Day(tmp_path)


def test_two_lists_with_bad_rows_from_morning_to_morning(day: Day, farm_here: HereFarm) -> None:  # noqa: F811
    one = day.list("day1", A001C001=GOOD, A001C002=WRONG)
    two = day.list("day2", A001C003=GOOD, A001C009=GOOD, A001C005=GOOD)
    code, said = day.add(one, two)
    assert code == 1 and "slope: takes three numbers" in said
    assert day.listed() == {
        "A001C001.mov": "queued", "A001C003.mov": "queued", "A001C002.mov": "set aside", "A001C009.mov": "set aside",
        "A001C005.mov": "failed",
    }  # fmt: skip
    code, said = run("queue", "list", *day.queue)
    assert "slope" in said and "2 set aside" in said
    assert "left as they are: 1 set aside" in run("queue", "hold", "A001C002.mov", *day.queue)[1]

    rung = day.place / "rung.json"
    code, said = run("queue", "run", *day.queue, "--json", "--on-failure", f"cp /dev/stdin {rung}")
    assert code == 1, said
    summary = json.loads(said.splitlines()[-1])
    assert sorted(summary["done"]) == ["A001C001.mov", "A001C003.mov"]
    assert {e["clip"] for e in summary["set_aside"]} == {"A001C002.mov", "A001C009.mov"}
    assert [e["clip"] for e in summary["failed"]] == ["A001C005.mov"]
    told = day.told()
    assert told == {
        "lists": 2, "listed": 5, "delivered": 2, "set_aside": 2, "failed": 1, "not_yet": 0, "ungraded": 0, "found": 6,
        "not_listed": ["A001C004.mov"],
    }  # fmt: skip
    (folder,) = summary["folders"].values()
    assert {k: folder[k] for k in told if k in folder} == {k: v for k, v in told.items() if k in folder}
    assert folder["media"]["found"] == 6
    rang = json.loads(rung.read_text())
    assert rang["status"] == "partly" and len(rang["set_aside"]) == 2

    rung.unlink()
    code, said = run("queue", "run", *day.queue, "--on-failure", f"cp /dev/stdin {rung}")
    assert code == 1 and "nothing to run" in said and "SET ASIDE: 2 clips" in said and rung.is_file()

    day.list("day1", A001C001=GOOD, A001C002=GOOD)  # mended; day2 is not, and says something else now
    day.list("day2", A001C003=GOOD, A001C009=WRONG, A001C005=GOOD)
    code, said = run("queue", "retry", "--all", *day.queue)
    assert code == 1 and "retry: 1 clip" in said, said
    states = day.listed()
    assert states["A001C002.mov"] == "queued" and states["A001C009.mov"] == "set aside"
    (row,) = [
        r for r in json.loads(run("queue", "list", "--json", *day.queue)[1]) if r["clip"] == "A001C009.mov"
    ]
    assert "slope" in row["error"] and "no such original" in row["error"]  # the fresh reason
    assert [r["status"] for r in latest(read_records(day.out)).values() if r["clip"] == "A001C002.mov"] == [
        "withdrawn"
    ]

    assert run("queue", "run", *day.queue)[0] == 1
    assert (day.told()["delivered"], day.told()["listed"]) == (3, 5)
    assert "drop: 2 clips" in run("queue", "drop", "A001C009.mov", "A001C005.mov", *day.queue)[1]
    code, said = run("queue", "run", *day.queue)
    assert code == 0 and "nothing to run" in said and "SET ASIDE" not in said
    assert run("report", day.out)[0] == 0
    assert (day.told()["delivered"], day.told()["listed"]) == (3, 3)
    page = (day.out / "report" / "index.html").read_text()
    assert page.count("taken out of the queue by hand, and not made") == 2

    code, said = day.add(day.list("day2", A001C003=GOOD, A001C004=GOOD))  # the mended list once more
    assert code == 0 and "1 clip queued, 1 made earlier" in said
    assert run("queue", "run", *day.queue)[0] == 0
    told = day.told()
    assert told["listed"] == told["delivered"] == 4 and told["not_listed"] == [] and told["lists"] == 2


def test_two_renders_into_one_folder(day: Day, farm_here: HereFarm) -> None:  # noqa: F811
    """Other media folders, one clip in both lists with another grade; the first again takes its own place."""
    card = day.place / "card2"
    card.mkdir()
    for name in ("A001C003.mov", "A001C004.mov", "notes.txt"):
        shutil.move(day.media / name, card / name)
    one = day.list("day1", A001C001=GOOD, A001C002=WRONG)
    two = day.list("day2", A001C003=GOOD, A001C001=OTHER)

    def render(clip_list: Path, *media: Path) -> tuple[int, str]:
        return run("render", clip_list, *day.given, *(x for m in media for x in ("--media", m)))

    assert render(one, day.media)[0] == 1
    alone = {
        "lists": 1,
        "listed": 2,
        "delivered": 1,
        "set_aside": 1,
        "failed": 0,
        "not_yet": 0,
        "ungraded": 0,
    }
    assert day.told() == alone | {"found": 3, "not_listed": []}
    code, said = render(two, card, day.media)
    assert code == 0 and "A001C001.mov stands in day1.csv and day2.csv with another grade in each" in said
    assert "all 2 lists: 3 clips listed = 2 delivered + 1 set aside + 0 failed + 0 not made yet" in said
    both = alone | {"lists": 2, "listed": 3, "delivered": 2, "found": 6, "not_listed": ["A001C004.mov"]}
    assert day.told() == both
    assert latest(read_records(day.out)).keys() == {r["job"] for r in read_records(day.out)}
    (clip,) = [r for r in latest(read_records(day.out)).values() if r["clip"] == "A001C001.mov"]
    assert clip["look"]["grade"]["slope"] == [1, 1, 1.2] and clip["revision"] == 2  # the latest word holds
    assert (
        "another grade in each; what day2.csv says is used" in (day.out / "report" / "index.html").read_text()
    )

    plan = run(
        "plan", one, *day.given, "--media", card, "--json"
    )  # what another list of the folder names is listed
    assert [Path(p).name for p in json.loads(plan[1])["media"]["not_listed"]] == ["A001C004.mov"]

    mended = day.list("day1", A001C001=OTHER, A001C002=GOOD)
    assert render(mended, day.media)[0] == 0
    assert day.told() == both | {"listed": 3, "delivered": 3, "set_aside": 0}
    shorter = day.list("day1", A001C002=GOOD)  # a clip that was made stays delivered, whoever names it now
    assert render(shorter, day.media)[0] == 0 and day.told()["delivered"] == 3


def test_a_list_dropped_before_the_run_is_as_if_it_had_not_been_added(day: Day, farm_here: HereFarm) -> None:  # noqa: F811
    card = day.place / "card2"
    card.mkdir()
    shutil.move(day.media / "A001C003.mov", card)
    one = day.list("day1", A001C001=GOOD, A001C002=GOOD)
    two = day.list("day2", A001C003=WRONG, A001C004=GOOD)
    assert day.add(one)[0] == 0 and run("queue", "add", two, *day.given, "--media", card, *day.queue)[0] == 1
    assert "drop: 2 clips" in run("queue", "drop", "A001C003.mov", "A001C004.mov", *day.queue)[1]
    assert "hold: 1 clip" in run("queue", "hold", "A001C002.mov", *day.queue)[1]
    assert run("queue", "run", *day.queue)[0] == 0
    told = day.told()
    assert told["lists"] == 1 and told["found"] == 5 and told["not_listed"] == ["A001C004.mov"]
    assert (told["listed"], told["delivered"], told["not_yet"]) == (2, 1, 1)


def test_a_copy_of_the_list_mended_settles_its_rows(day: Day, farm_here: HereFarm) -> None:  # noqa: F811
    assert day.add(day.list("day1", A001C001=GOOD, A001C002=WRONG))[0] == 1
    assert day.add(day.list("day1 mended", A001C001=GOOD, A001C002=GOOD))[0] == 0
    assert set(day.listed().values()) == {"queued"}
    assert run("queue", "run", *day.queue)[0] == 0
    assert (day.told()["listed"], day.told()["delivered"]) == (2, 2)


def test_a_list_that_is_gone_or_wrong_as_a_whole_keeps_its_rows(day: Day) -> None:
    one = day.list("day1", A001C002=WRONG)
    assert day.add(one)[0] == 1
    one.rename(day.place / "elsewhere.csv")
    code, said = run("queue", "retry", "--all", *day.queue)
    assert code == 1 and "there is no such list" in said and day.listed() == {"A001C002.mov": "set aside"}
    (day.place / "elsewhere.csv").rename(one)
    one.write_text("name\nx\n")
    code, said = run("queue", "retry", "A001C002.mov", *day.queue)
    assert code == 1 and "no column `clip`" in said and day.listed() == {"A001C002.mov": "set aside"}
    day.list("day1", A001C003=GOOD)  # the row is gone from the list, and another is there
    code, said = run("queue", "retry", "--all", *day.queue)
    assert code == 0 and day.listed() == {"A001C003.mov": "queued"}


def test_retry_of_one_row_leaves_the_others_as_they_are(day: Day) -> None:
    assert day.add(day.list("day1", A001C001=GOOD, A001C002=WRONG, A001C003=GOOD))[0] == 1
    assert run("queue", "hold", "A001C001.mov", *day.queue)[0] == 0
    assert run("queue", "drop", "A001C003.mov", *day.queue)[0] == 0
    day.list("day1", A001C001=GOOD, A001C002=GOOD, A001C003=GOOD)
    assert run("queue", "retry", "A001C002.mov", *day.queue)[0] == 0
    assert day.listed() == {"A001C001.mov": "held", "A001C002.mov": "queued"}  # what was dropped stays out
    assert day.add(day.place / "day1.csv")[0] == 0
    assert day.listed()["A001C003.mov"] == "queued"  # until it is asked for


def test_other_originals_of_one_name_in_two_lists_do_not_replace_each_other(
    day: Day,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    for number, card in enumerate(("card1", "card2")):
        (day.media / card).mkdir()
        clip = day.media / card / "C001.mov"
        write_movie(clip, [numbered(number)], timecode=f"0{number}:00:00:00", reel=f"B00{number}")
        os.utime(clip, (1_700_000_000, 1_700_000_000))
    one, two = day.list("day1", **{"card1/C001": GOOD}), day.list("day2", **{"card2/C001": OTHER})
    again = day.place / "copy"  # the first list once more, its card mounted elsewhere since
    shutil.copytree(day.media / "card1", again / "card1")
    for clip_list, media in ((one, day.media), (two, day.media), (one, again), (two, day.media)):
        code, said = run("render", clip_list, *day.given, "--media", media)
        assert code == 0, said
    assert {p.relative_to(day.out).as_posix() for p in (day.out / "stills").rglob("*.jpg")} == {
        "stills/C001.jpg", "stills/B001/C001.jpg",
    }  # fmt: skip
    assert "day1.csv has another original called C001; this one goes to the folder B001" in said
    assert not (day.out / "revisions").exists() and day.told()["delivered"] == day.told()["listed"] == 2


def test_what_waits_of_another_folder_is_told_as_that_ones(day: Day, farm_here: HereFarm) -> None:  # noqa: F811
    """And the clips that are made are said to go where they go."""
    assert day.add(day.list("day1", A001C001=WRONG))[0] == 1
    other = ("--recipe", day.place / "stills.toml", "--out", day.place / "other", "--media", day.media)
    two = day.list("day2", A001C002=GOOD, A001C009=GOOD)
    assert run("queue", "add", two, *other, *day.queue)[0] == 1
    code, said = run("queue", "run", *day.queue)
    said = " ".join(said.split())
    assert code == 1 and f"to {day.place / 'other'}" in said and "folders" not in said, said
    theirs, ours = re.findall(r"day[12]\.csv:\d+: .*?(?= \S*day2\.csv| delivered)", said)[-2:]
    assert theirs.endswith(f"(of another list, into {day.out})"), said
    assert "another list" not in ours, said
    code, said = run("queue", "run", *day.queue)  # nothing to run: all that waits, each with its folder
    said = " ".join(said.split())
    assert f"(into {day.out})" in said and f"(into {day.place / 'other'})" in said
    assert "another list" not in said, said
