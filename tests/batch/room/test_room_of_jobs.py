"""Room in real lists: said by plan, warned of by render and queue add."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from here import ENCODED, rushlight, small_day, write_list
from rushlight.batch.room import room_forecast

GRADE = {"slope": "1 1 1", "offset": "0 0 0", "power": "1 1 1", "saturation": "1"}


def planned(day: Path, out: Path, *more: object) -> dict[str, object]:
    found = rushlight(
        "plan", day, "--recipe", day.parent / "two.toml", "--media", day.parent, "--out", out, "--json", *more
    )
    assert found.returncode == 0, found.stderr
    document: dict[str, object] = json.loads(found.stdout)["room"]
    return document


def test_plan_says_what_a_revision_replaces_and_what_is_older(tmp_path: Path) -> None:
    day, out = small_day(tmp_path), tmp_path / "out"
    first = planned(day, out)
    assert [(o["output"], o["clips"], o["replaced"]) for o in first["outputs"]] == [
        ("editorial", 2, 0),
        ("viewing", 2, 0),
    ]  # type: ignore[index]
    render = ("render", day, "--recipe", tmp_path / "two.toml", "--media", tmp_path, "--out", out)
    assert rushlight(*render).returncode == 0
    assert planned(day, out)["outputs"] == []
    write_list(day, {"A001C001": GRADE | {"slope": "1.1 1 1"}, "A001C002": {}})
    one = {o["output"]: o for o in planned(day, out)["outputs"]}  # type: ignore[index]
    files = {name: next((out / name).glob("A001C001*")).stat().st_size for name in ("editorial", "viewing")}
    assert {name: o["replaced"] for name, o in one.items()} == files
    assert {name: o["clips"] for name, o in one.items()} == {"editorial": 1, "viewing": 1}
    assert one["viewing"]["make"] == pytest.approx(files["viewing"], rel=0.5), "as the log has it"
    assert rushlight(*render).returncode == 0
    write_list(day, {"A001C001": GRADE | {"slope": "1.2 1 1"}, "A001C002": {}})
    assert {o["output"]: o["older"] for o in planned(day, out)["outputs"]} == files  # type: ignore[index]
    text = rushlight("plan", *render[1:]).stdout
    assert "older kept" in text and "unless --replaced remove clears it" in text
    assert all(len(line) <= 100 for line in text.splitlines() if "/" not in line)


def test_a_day_of_two_recipes_shares_its_disk(tmp_path: Path) -> None:
    small_day(tmp_path)
    (tmp_path / "three.toml").write_text((tmp_path / "two.toml").read_text())
    (tmp_path / "day.toml").write_text(
        'list = "day.csv"\nmedia = "."\nrecipes = ["two.toml", "three.toml"]\nout = "out"\n'
    )
    document = json.loads(rushlight("plan", tmp_path / "day.toml", "--json").stdout)
    assert {Path(o["out"]).name for o in document["room"]["outputs"]} == {"two", "three"}
    (disk,) = document["room"]["volumes"]
    assert disk["make"] == sum(o["make"] for o in document["room"]["outputs"])
    assert "room" not in document["further"][0]


@pytest.mark.parametrize("command", ["render", "queue add", "plan"])
def test_what_will_not_fit_is_said_before_the_night(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    day = small_day(tmp_path)
    monkeypatch.setattr(
        room_forecast.forecast_room,
        "__kwdefaults__",
        {**(room_forecast.forecast_room.__kwdefaults__ or {}), "free": lambda path: 400_000_000},
    )
    queue = ("--queue", tmp_path / "q") if command == "queue add" else ()
    found = rushlight(
        *command.split(),
        day,
        "--recipe",
        tmp_path / "two.toml",
        "--media",
        tmp_path,
        "--out",
        tmp_path / "out",
        *ENCODED,
        *queue,
    )
    assert found.returncode == 0
    said = " ".join((found.stdout + found.stderr).split())
    assert "has 400 MB free, of which 500 MB are kept free" in said and "The night will pause there" in said


def test_lists_that_fit_alone_are_said_not_to_fit_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    day = small_day(tmp_path)
    make = planned(day, tmp_path / "a")["volumes"][0]  # type: ignore[index]
    free = 500_000_000 + round(1.5 * (make["make"] + make["work"]))
    monkeypatch.setattr(
        room_forecast.forecast_room,
        "__kwdefaults__",
        {**(room_forecast.forecast_room.__kwdefaults__ or {}), "free": lambda path: free},
    )
    add = (
        "queue",
        "add",
        day,
        "--recipe",
        tmp_path / "two.toml",
        "--media",
        tmp_path,
        "--queue",
        tmp_path / "q",
    )
    first, second = (rushlight(*add, "--out", tmp_path / name) for name in "ab")
    assert "too little" not in first.stdout + first.stderr and "too little" in second.stdout + second.stderr
