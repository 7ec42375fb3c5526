"""A folder into which several lists were rendered that do not agree on a clip, made again: each clip once, as the list that was read last
has it, and nothing where all of that stands."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from graded_show import KILLED, ONE, THREE, TWO, GradedShow, recipe
from here import HereFarm, farm_here, run  # noqa: F401
from logged import latest, read_records
from pictures import numbered, write_movie
from rushlight.batch.api.handover import handover
from rushlight.batch.plan.request_ledger import read_askings


@pytest.fixture
def show(tmp_path: Path, farm_here: HereFarm) -> Iterator[GradedShow]:  # noqa: F811
    yield GradedShow(tmp_path)


def test_the_list_read_last_decides_and_nothing_is_made_twice(show: GradedShow) -> None:
    one, two = show.list("mon/day", A=ONE, B=ONE), show.list("tue/day", A=TWO)
    show.render(one)
    show.render(two)
    assert (
        "A.mov stands in mon/day.csv and tue/day.csv with another grade in each; what tue/day.csv"
        in show.said
    )
    show.stands()
    assert show.slopes() == {"A": TWO, "B": ONE}
    assert show.said.count("what tue/day.csv says is used, since it was read last") == 1
    (show.out / "stills" / "A.jpg").unlink()
    (show.out / "stills" / "B.jpg").unlink()
    show.again()
    assert show.slopes() == {"A": TWO, "B": ONE} and len(show.files()) == 2
    assert not (show.out / "revisions").exists() or len(list((show.out / "revisions").iterdir())) == 1
    show.render(show.list("mon/day", A=THREE, B=ONE))  # the first list, edited: it was read last now
    show.stands()
    assert show.slopes() == {"A": THREE, "B": ONE} and "what mon/day.csv says is used" in show.said
    shutil.rmtree(show.top / "mon")  # lists gone since
    shutil.rmtree(show.top / "tue")
    show.stands()
    page = (show.out / "report" / "index.html").read_text()
    assert "stands in tue/day.csv and mon/day.csv with another grade in each" in page


def test_a_list_put_back_to_what_it_was_is_the_last_word(show: GradedShow) -> None:
    for slope in (ONE, TWO, ONE):
        show.render(show.list("day", A=slope))
    show.stands()
    assert show.slopes() == {"A": ONE}
    for out in (show.top / "new", show.top / "new2"):
        show.again("--out", out)
        assert show.slopes(out) == {"A": ONE}
    show.render(show.list("other", A=TWO))
    show.render(show.top / "day.csv")  # as it was read before, after another list
    show.stands()
    assert show.slopes() == {"A": ONE}


def test_the_same_in_a_new_folder_from_it_and_from_a_delivery(show: GradedShow) -> None:
    one, two = show.list("one", A=ONE, B=ONE), show.list("two", A=TWO, B=TWO)
    show.render(one)
    show.render(two)
    show.render(show.list("one", A=THREE))
    closed = handover(show.out, name="Post", to=show.top / "sent", copy=True).folder
    assert closed is not None
    for number, origin in enumerate((show.out, closed)):
        new = show.top / f"new{number}"
        show.run("render", "--from", origin, "--out", new)
        assert show.slopes(new) == {"A": THREE, "B": TWO} and not (new / "revisions").exists()
        assert show.files(new) == show.files()
        log = (new / "log" / "jobs.jsonl").read_bytes()
        show.run("render", "--from", new)  # and of the new one in its turn
        assert (new / "log" / "jobs.jsonl").read_bytes() == log and not show.made()


def test_made_again_over_a_folder_that_has_decided_otherwise(show: GradedShow) -> None:
    """What is asked for now is the last word there."""
    other = show.top / "other"
    show.render(show.list("one", A=ONE))
    show.render(show.list("two", A=TWO))
    show.run(
        "render",
        show.list("three", A=THREE),
        "--recipe",
        show.top / "stills.toml",
        "--out",
        other,
        "--media",
        show.media,
    )
    show.again("--out", other)
    assert show.slopes(other) == {"A": TWO}
    show.run("render", "--from", other)
    assert show.slopes(other) == {"A": TWO} and not show.made()


def test_two_recipes_stand_beside_each_other_where_the_picture_is_the_same(show: GradedShow) -> None:
    one, two = show.list("one", A=ONE, B=ONE), show.list("two", A=ONE, B=TWO)
    show.render(one)
    show.render(two, recipe="frames")
    # of B, which has another grade, the record counts the new files alone
    assert "no longer counted here: stills/B.jpg" in show.said
    show.stands()
    (show.out / "stills" / "A.jpg").unlink()
    (show.out / "frames" / "A.jpg").unlink()
    before = show.slopes()
    show.again()
    assert show.slopes() == before == {"A": ONE, "B": TWO} and len(show.files()) == 4
    show.again("--out", show.top / "new")
    assert sorted(show.files(show.top / "new")) == ["frames/A.jpg", "frames/B.jpg", "stills/A.jpg"]


def test_an_output_that_two_recipes_have_is_the_later_ones(show: GradedShow) -> None:
    one = show.list("one", A=ONE)
    show.render(one, recipe="both")
    (show.top / "stills.toml").write_text(recipe("stills").replace("64x36", "32x18"))
    show.render(one)
    small = show.files()["stills/A.jpg"]
    show.stands()
    assert show.files()["stills/A.jpg"] == small
    (show.out / "frames" / "A.jpg").unlink()
    show.again()
    assert show.files()["stills/A.jpg"] == small and len(show.files()) == 2
    record = next(iter(latest(read_records(show.out)).values()))
    assert not any("--output did not name it" in text for text in record["warnings"]), record["warnings"]


def test_another_recipe_makes_each_clip_once(show: GradedShow) -> None:
    show.render(show.list("one", A=ONE, B=ONE))
    show.render(show.list("two", A=TWO))
    new = show.top / "new"
    show.again("--recipe", show.top / "frames.toml", "--out", new)
    assert show.slopes(new) == {"A": TWO, "B": ONE} and not (new / "revisions").exists()
    show.again("--recipe", show.top / "frames.toml")
    assert show.slopes() == {"A": TWO, "B": ONE} and len(show.files()) == 4
    show.stands()


def test_a_list_that_names_other_clips_by_now(show: GradedShow) -> None:
    """Fixes, in one file through the day: what it decided before is not brought back to what the day's list says."""
    show.render(show.list("day", A=ONE, B=ONE))
    show.render(show.list("fixes", A=TWO))
    show.render(show.list("fixes", B=THREE))
    show.stands()
    assert show.slopes() == {"A": TWO, "B": THREE}
    assert "A.mov is not made again: fixes.csv, which was read later than day.csv" in show.said
    (show.out / "stills" / "A.jpg").unlink()
    show.again(code=1)  # it is not there, and nobody makes it
    assert show.slopes() == {"A": TWO, "B": THREE} and not (show.out / "stills" / "A.jpg").exists()
    new = show.top / "new"
    show.again("--out", new, code=1)
    assert show.slopes(new) == {"B": THREE}
    for _ in range(3):
        show.run("render", "--from", new, code=1)
        assert show.slopes(new) == {"B": THREE}
    show.render(show.top / "day.csv")  # the day's list itself: asked for anew
    assert show.slopes() == {"A": ONE, "B": ONE}
    show.stands()


def test_a_list_that_cannot_be_made_again_keeps_its_clips(show: GradedShow) -> None:
    show.render(show.list("one", A=ONE, B=ONE))
    show.render(show.list("two", A=TWO))
    last = json.loads((show.out / "log/inputs/requests.jsonl").read_text().splitlines()[-1])
    (show.out / "log" / "inputs" / last["files"][str(show.top / "two.csv")]).write_text("spoilt")
    show.again(code=1)
    assert "the list " + str(show.top / "two.csv") + " cannot be made again" in show.said
    assert show.slopes() == {"A": TWO, "B": ONE} and not show.made()


def test_other_ranges_of_one_clip(show: GradedShow) -> None:
    def ranged(name: str, span: str) -> Path:
        path = show.list(name, A=ONE)
        text = path.read_text().replace("power\n", "power,in,out\n").replace("1 1 1\n", f"1 1 1,{span}\n")
        path.write_text(text)
        return path

    show.render(ranged("one", "0,3"))
    show.render(ranged("two", "1,4"))
    assert "with another range in each" in show.said
    show.stands()
    [record] = latest(read_records(show.out)).values()
    assert (record["first_frame"], record["frames"]) == (1, 3)
    for still in ("--still", "A=1"), ("--still", "A=2"):  # beside the clip, and each beside the other
        show.again(*still)
    assert len(latest(read_records(show.out))) == 3
    assert not any(asking.gone for asking in read_askings(show.out)[0])
    show.stands()
    assert show.said.count("stands in") == 1
    part = ("--still", "A=1", "--out", show.top / "new")
    show.again(*part)
    assert len(read_records(show.top / "new")) == 1  # a part is made by the list that decides its clip, once


def test_originals_of_one_name_on_two_cards_keep_their_names_in_whichever_order_they_were_read(
    show: GradedShow,
) -> None:
    for number, card in enumerate(("card1", "card2")):
        (show.media / card).mkdir()
        clip = show.media / card / "C.mov"
        write_movie(clip, [numbered(50 + number)] * 2, timecode=f"0{number + 4}:00:00:00", reel=f"R{number}")
        os.utime(clip, (1_700_000_000, 1_700_000_000))
    show.render(show.list("one", **{"card1/C": ONE}))
    show.render(show.list("two", **{"card2/C": ONE}))
    show.render(show.list("one", **{"card1/C": TWO}))
    show.stands()
    assert "stands in" not in show.said  # they are two clips
    (show.top / "other-disk").mkdir()
    shutil.move(show.media / "card1", show.top / "other-disk" / "card1")
    shutil.move(show.media / "card2", show.top / "other-disk" / "card2")
    new = show.top / "new"
    show.again("--media", show.top / "other-disk", "--out", new)
    assert show.files(new) == show.files() and len(show.files()) == 2


def test_only_the_original_lies_elsewhere(show: GradedShow) -> None:
    show.render(show.list("one", A=ONE))
    shutil.copytree(show.media, show.top / "backup")
    show.media = show.top / "backup"
    show.render(show.list("two", A=ONE))
    assert "stands in one.csv and two.csv, with its original in another folder for each" in show.said
    assert "grade in each" not in show.said
    show.stands()


def test_the_plan_and_a_choice_of_rows(show: GradedShow) -> None:
    show.render(show.list("one", A=ONE, B=ONE))
    show.render(show.list("two", A=TWO))
    show.render(show.list("one", A=THREE, B=ONE))
    code, said = run("plan", "--from", show.out, "--json")
    document = json.loads(said)
    every = [document, *document.get("further", [])]
    found: list[tuple[str, Any]] = [(c["clip"], c["grade"]["slope"]) for d in every for c in d["clips"]]
    assert code == 0 and sorted(found) == [("A.mov", [1, 1.3, 1]), ("B.mov", [1.1, 1, 1])]
    assert any("what one.csv says is used" in text for text in document["warnings"])
    for d in every:
        counts = d["counts"]
        assert counts["rows"] == counts["planned"] + counts["not_chosen"]
    show.stands("--only", "clip=B.mov")
    show.render(show.list("two", A=TWO))
    show.stands("--only", "clip=A.mov")  # of list one nothing is left to make; its grade does not come back
    show.stands()
    assert show.slopes() == {"A": TWO, "B": ONE}


@pytest.mark.parametrize("moment", ["render_segment", "finish_job", "append_record"])
def test_a_kill_while_the_second_list_is_made(show: GradedShow, moment: str) -> None:
    """Made again after it, the clip has the grade of the list that was read last, in one revision; with another kill in that as well."""
    show.render(show.list("one", A=ONE, B=ONE))
    two = show.list("two", A=TWO)
    given = ("--recipe", show.top / "stills.toml", "--out", show.out, "--media", show.media)
    for command in (("render", two, *given), ("render", "--from", show.out)):
        words = [
            sys.executable,
            "-W",
            "ignore",
            "-c",
            KILLED.format(module="delivery"),
            moment,
            *map(str, command),
        ]
        path = os.pathsep.join(p for p in sys.path if p)
        ended = subprocess.run(words, env={**os.environ, "PYTHONPATH": path}, capture_output=True, text=True)
        assert ended.returncode == -9, ended.stdout + ended.stderr
    show.again()
    assert show.slopes() == {"A": TWO, "B": ONE}
    [record] = [r for r in latest(read_records(show.out)).values() if r["clip"] == "A.mov"]
    assert record["revision"] == 2 and len(list((show.out / "revisions").rglob("*.jpg"))) == 1
    show.stands()


def test_an_original_that_changed_in_the_queue_is_planned_by_the_list_that_decides(show: GradedShow) -> None:
    """The runner plans it again of what the folder keeps, of which an earlier list comes first."""
    queue, given = ("--queue", show.top / "q.sqlite"), ("--out", show.out, "--media", show.media)
    for name, slope in (("one", ONE), ("two", TWO), ("one", THREE)):
        words = (
            "queue",
            "add",
            show.list(name, A=slope),
            "--recipe",
            show.top / "stills.toml",
            *given,
            *queue,
        )
        show.run(*words)
    write_movie(show.media / "A.mov", [numbered(90)] * 4, timecode="00:00:00:00")
    os.utime(show.media / "A.mov", (1_700_000_500, 1_700_000_500))
    show.run("queue", "run", *queue)
    assert show.slopes() == {"A": THREE} and len(read_records(show.out)) == 1, show.said
