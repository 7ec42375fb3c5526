"""Nights in which some of the workers have a graphics card, which fails in the middle: what is delivered is what processors alone
deliver. The card is a toy that runs its kernel as C (tests/support/toy_card)."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import pytest

import here
from card_as_c import needs_compiler
from command import started
from here import HereFarm, farm_here, files, small_day  # noqa: F401
from logged import latest, read_records
from rushlight.pipelines.render import who_grades
from test_kills import timeless

TOY = Path(__file__).parent.parent / "support" / "toy_card"
FAILS = "10"  # pictures: four of the test, and two a frame


def without_who(out: Path) -> dict[str, Any]:
    """The records of a night but for who graded, and when it was."""
    found = timeless(latest(read_records(out)))
    for record in found.values():
        for made in record["made_with"]:
            made.pop("graded_by")
    return found


def everything(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@needs_compiler
def test_a_night_of_mixed_workers_whose_card_fails_is_one_of_processors(tmp_path: Path) -> None:
    day = small_day(tmp_path / "day", {"A001C001": 60, "A001C002": 8})
    whole = ("render", day, "--recipe", day.with_name("two.toml"))
    alone = here.rushlight(*whole, "--graphics", "off", "--out", tmp_path / "alone")
    assert alone.returncode == 0, alone.stderr
    log, out = tmp_path / "log", tmp_path / "mixed"
    toy = {"PYTHONPATH": str(TOY), "TOY_CARD_LOG": str(log), "TOY_CARD_TAKEN": str(tmp_path / "taken")}
    toy |= {"XDG_CACHE_HOME": str(tmp_path / "cache"), "TOY_CARD_FAILS": FAILS}
    night = started(*whole, "--out", out, "--workers", 2, "--json", env={**os.environ, **toy})
    told, errors = night.communicate(timeout=300)
    assert night.returncode == 0, told + errors

    assert files(out, "editorial", "viewing") == files(tmp_path / "alone", "editorial", "viewing")
    assert without_who(out) == without_who(tmp_path / "alone")
    runs = [run for r in latest(read_records(out)).values() for run in r["made_with"][0]["graded_by"]]
    assert sum(run["frames"] for run in runs) == 68
    assert [run["frames"] for run in runs if run["by"] == "Toy"] == [3]  # of the card before it failed

    events = [json.loads(line) for line in told.splitlines()]
    said = [e["text"] for e in events if "the processor grades" in e.get("text", "")]
    assert len(said) == 1, said  # not one a worker, nor one a reason

    lines = [line.split() for line in log.read_text().splitlines()]
    asked = [tuple(map(int, numbers)) for what, *numbers in lines if what == "asked"]
    assert {above for _, _, above in asked} == {night.pid}  # workers, forks of a server that asks no card
    assert 1 <= len(asked) <= 2 and str(night.pid) not in [process for _, process, *_ in lines]


def test_a_machine_without_the_card_that_is_required_is_refused_before_its_night(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "cupy", None)
    who_grades._card_of_this_process.cache_clear()
    day = small_day(tmp_path / "day", {"A001C001": 1})
    farm_here.here = True
    try:
        run = here.run(
            "render",
            day,
            "--recipe",
            day.with_name("two.toml"),
            "--out",
            tmp_path / "out",
            "--graphics",
            "require",
        )
        queue = ("--queue", tmp_path / "q.sqlite")
        words = ("--recipe", day.with_name("two.toml"), "--out", tmp_path / "later", *queue)
        assert here.run("queue", "add", day, *words)[0] == 0
        before = everything(tmp_path / "later")
        queued = here.run("queue", "run", *queue, "--graphics", "require")
    finally:
        who_grades._card_of_this_process.cache_clear()
    assert run[0] == 2 and "--graphics require: CuPy is not installed" in run[1], run
    assert not (tmp_path / "out").exists()
    assert queued[0] == 2 and "nothing was made" in queued[1] and everything(tmp_path / "later") == before
    assert not any(task.function.endswith("render_segment") for task in farm_here.calls)
