"""The clips of a plan at a terminal: by scene, each for itself, and no word broken at any width."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from here import rushlight, small_day

LONG = "a-very-long-name-of-a-recipe-that-nobody-would-break"


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    clips = {f"A001C{n:03}": 2 for n in range(1, 15)}
    columns = {
        name: {
            "scene": "12A" if n < 4 else "7",
            "take": str(n + 1),
            "camera": "A",
            "circled": "yes" if n == 2 else "no",
        }
        for n, name in enumerate(clips)
    }
    columns["A001C014"] = {"note": LONG}
    return small_day(folder, clips, **columns)


def planned(day: Path, *words: object, columns: int = 100) -> str:
    run = rushlight("plan", day, "--recipe", day.parent / "two.toml", *words, COLUMNS=str(columns))
    assert run.returncode == 0, run.stderr
    return run.stdout


@pytest.mark.parametrize("columns", [80, 100, 200])
def test_scenes_are_a_line_each(day: Path, columns: int) -> None:
    lines = [line.split() for line in planned(day, columns=columns).splitlines()]
    assert ["scene", "12A", "4", "1,", "2,", "3,", "4", "1", "A", "0.3", "s", "0", "of", "4"] in lines
    assert any(line[:3] == ["scene", "7", "9"] for line in lines)
    assert any(line[:2] == ["no", "scene"] or line[:1] == ["reel"] for line in lines)


def test_the_long_list_is_on_demand(day: Path) -> None:
    short, long = planned(day), planned(day, "--clips")
    assert "--clips shows each clip" in short and "A001C003.mov   scene" not in short
    assert "A001C003.mov   scene 12A take 3 circled   0.1 s" in long and "grade:    none;" in long
    few = planned(day, "--only", "scene=12A")
    assert "A001C003.mov   scene 12A take 3 circled" in few


@pytest.mark.parametrize("columns", [60, 80, 200])
def test_no_word_is_broken(day: Path, columns: int) -> None:
    wide, narrow = planned(day, "--clips", columns=200), planned(day, "--clips", columns=columns)
    words = {word for word in wide.split() if not re.fullmatch(r"-+", word)}
    assert words - set(narrow.split()) == set()
    longest = max(map(len, words))
    assert all(len(line) <= max(columns, longest + 12) for line in narrow.splitlines())
