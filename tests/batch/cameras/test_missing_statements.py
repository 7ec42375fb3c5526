"""What nobody states is said once a camera, by plan, render and queue alike; each row keeps its own fault."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from here import RECIPE, HereFarm, farm_here, run  # noqa: F401
from pictures import numbered, write_movie
from rushlight.batch.api.plan import plan
from rushlight.batch.records.summary import Missing

LINES = '[[default]]\ncamera = "A"\nencoding = "NAME"  # `rushlight encodings` lists the names'


@pytest.fixture
def card(tmp_path: Path) -> Path:
    (tmp_path / "card").mkdir()
    for name in ("A001C001", "A001C002", "B001C001"):
        write_movie(tmp_path / "card" / f"{name}.mov", [numbered(k) for k in range(2)], reel=name[:4])
    (tmp_path / "small.toml").write_text(RECIPE)
    (tmp_path / "day.toml").write_text(
        'media = "card"\nrecipes = "small.toml"\nout = "out"\n[[default]]\ncamera = "B"\nencoding = "LogC3"\n'
    )
    return tmp_path / "card"


def test_once_a_camera_with_the_lines_that_state_it(card: Path) -> None:
    document = plan(card.with_name("day.toml")).document()
    (missing,) = document["missing"]
    assert [m.plain() for m in plan(card.with_name("day.toml")).missing] == [missing]
    assert missing["camera"] == "camera A" and missing["lines"] == LINES
    assert missing["file"] == str(card.with_name("day.toml"))
    assert missing["clips"] == missing["alone"] == ["card/A001C001.mov", "card/A001C002.mov"]
    assert [(p["clip"], p["key"]) for p in document["problems"]] == [
        ("card/A001C001.mov", "encoding"),
        ("card/A001C002.mov", "encoding"),
    ]
    assert document["counts"]["planned"] == 1


def test_the_lines_as_they_stand_mend_it(card: Path) -> None:
    day = card.with_name("day.toml")
    (missing,) = plan(day).document()["missing"]
    day.write_text(day.read_text() + missing["lines"].replace("NAME", "V-Log") + "\n")
    assert plan(day).document()["missing"] == [] and len(plan(day).clips) == 3


def test_the_page_says_it_once(card: Path) -> None:
    code, said = run("plan", card.with_name("day.toml"))
    assert code == 1 and said.count("MISSING") == 1 and "SET ASIDE" not in said
    assert "\n".join(f"    {line}" for line in LINES.splitlines()) in said


def test_a_folder_as_a_list_says_where_the_lines_belong(card: Path) -> None:
    code, said = run("plan", card)
    assert code == 1 and said.count("MISSING") == 2 and "a day.toml, or a file for --defaults" in said


def test_what_else_is_wrong_with_a_row_is_still_said(card: Path) -> None:
    (card.parent / "list.csv").write_text("clip,out\nA001C001,99:00\nA001C002,\n")
    document = plan(card.parent / "list.csv", media=card).document()
    (missing,) = document["missing"]
    assert len(missing["clips"]) == 2 and missing["alone"] == ["A001C002"]
    _, said = run("plan", card.parent / "list.csv", "--media", card)
    assert said.count("MISSING") == 1 and said.count("SET ASIDE") == 2  # both faults of the first


def test_a_clip_with_another_row_that_is_wrong_otherwise_is_not_hidden(card: Path) -> None:
    rows = "clip,in,out\nA001C001,0,1\nA001C001,1,99:00\nA001C002,,\n"
    (card.parent / "list.csv").write_text(rows)
    (missing,) = plan(card.parent / "list.csv", media=card).document()["missing"]
    assert missing["alone"] == ["A001C002"] and len(missing["clips"]) == 3


def test_render_and_queue_say_it_once(card: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day = card.with_name("day.toml")
    code, said = run("queue", "add", day, "--queue", card.parent / "q.sqlite")
    assert code == 1 and said.count("nobody states the encoding of camera A") == 1
    assert "is not stated" not in said
    _, listed = run("queue", "list", "--queue", card.parent / "q.sqlite", "--json")
    assert sum("is not stated" in job["error"] for job in json.loads(listed)) == 2
    code, said = run("render", day)
    assert code == 1 and "SET ASIDE: 2 clips" in said
    assert said.count("nobody states the encoding of camera A") == 1 and "is not stated" not in said
    _, events = run("render", day, "--json")
    summary = json.loads(events.splitlines()[-1])
    assert len(summary["set_aside"]) == 2 and Missing.read(summary["missing"][0]).lines == LINES
    code, said = run("render", day, "--strict")
    assert code == 2 and said.count("nobody states the encoding of camera A") == 1
