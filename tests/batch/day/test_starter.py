"""The document to begin with: it reads as it stands, guesses nothing, lies beside originals and over no file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pictures import numbered, write_movie
from rushlight.batch.api.day import new
from rushlight.batch.api.plan import plan
from rushlight.batch.cameras.camera_groups import camera_groups
from rushlight.batch.day.found_media import look_into
from rushlight.batch.day.starter import starter_text, still_missing
from rushlight.pipelines.errors import ListError, OptionError
from rushlight.pipelines.recipe.read_recipe import parse_day


@pytest.fixture
def cards(tmp_path: Path) -> Path:
    (tmp_path / "cards" / "A001").mkdir(parents=True)
    (tmp_path / "cards" / "B001").mkdir()
    two = [numbered(k) for k in range(2)]
    write_movie(tmp_path / "cards/A001/A001C001.mov", two, reel="A001")
    write_movie(tmp_path / "cards/B001/B001C001.mov", two, reel="B001", metadata={"comment": "V-Log"})
    return tmp_path / "cards"


def test_it_reads_at_once_and_plan_says_what_it_says(cards: Path) -> None:
    made = new(cards, to=cards.with_name("day.toml"))
    planned = plan(made.file).document()
    assert [m["camera"] for m in planned["missing"]] == ["camera A", "camera B"]
    assert planned["counts"]["planned"] == 0  # a hint states nothing
    assert [(c.name, c.suggested) for c in made.cameras] == [("camera A", ""), ("camera B", "V-Log/V-Gamut")]
    assert made.missing[1] == "the encoding of camera A (1 clip): no header names one"
    assert made.missing[2].endswith("the header suggests V-Log/V-Gamut: check it")


def test_with_the_signs_taken_away_it_is_whole(cards: Path) -> None:
    text = starter_text(look_into(cards), cards.with_name("day.toml"))
    lines = [line.removeprefix("# ") if "=" in line or "[[" in line else line for line in text.splitlines()]
    day = parse_day("\n".join(lines).replace('"NAME"', '"LogC3"'))
    assert [(d.camera, d.encoding) for d in day.default] == [("A", "LogC3"), ("B", "V-Log/V-Gamut")]
    assert (day.media, day.out, day.ready_by) == (("cards",), "out", "05:30")


def test_it_lies_over_no_file_and_among_no_originals(cards: Path) -> None:
    file = cards.with_name("day.toml")
    file.write_text("mine")
    with pytest.raises(OptionError, match=r"day\.toml: is there already"):
        new(cards, to=file)
    assert file.read_text() == "mine"
    with pytest.raises(OptionError, match="would lie among originals"):
        new(cards, to=cards / "A001" / "day.toml")
    with pytest.raises(OptionError, match=r"ends in \.toml"):
        new(cards, to=cards.with_name("day.txt"))
    with pytest.raises(OptionError, match="cannot be written"):
        new(cards, to=cards.with_name("nowhere") / "day.toml")
    assert new(cards, to=cards / "day.toml").file.is_file()  # above the cards: they are beside it


def test_what_headers_say_ends_no_comment(cards: Path) -> None:
    found = look_into(cards)
    hostile = {"model": 'H7"\n[[default]]\nlevels = 1\x7f', "make": "Halden\r\u2028"}
    seen = [replace(s, facts=replace(s.facts, metadata=hostile)) for s in found.clips]
    text = starter_text(replace(found, cameras=tuple(camera_groups(seen))), cards.with_name("day.toml"))
    assert parse_day(text).default == () and "Halden" in text


def test_without_originals_and_without_a_folder(tmp_path: Path) -> None:
    with pytest.raises(ListError, match="holds no original"):
        new(tmp_path, to=tmp_path / "day.toml")
    with pytest.raises(OptionError, match="is not a folder"):
        new(tmp_path / "x", to=tmp_path / "day.toml")
    assert list(tmp_path.iterdir()) == []


def test_an_out_that_is_there_is_not_taken(cards: Path) -> None:
    cards.with_name("out").mkdir()
    text = starter_text(look_into(cards), cards.with_name("day.toml"))
    assert parse_day(text).out == "out-day" and "; `out` is there already\n" in text
    cards.with_name("out-day").mkdir()
    assert parse_day(starter_text(look_into(cards), cards.with_name("day.toml"))).out == "out-day-2"
    assert "do not read" not in " ".join(still_missing(look_into(cards)))
