"""A list planned says so as it begins and as it ends, for `render` and for a queue; the log is read once at the end."""

import json
from pathlib import Path

import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.run import request_accounts


def phases(said: str) -> list[tuple[str, int, int, bool]]:
    events = [json.loads(line) for line in said.splitlines()]
    told = [e for e in events if e["event"] == "phase" and e["phase"] == "planning"]
    return [(e["phase"], e["done"], e["total"], bool(e.get("text"))) for e in told]


def test_a_queue_says_what_it_plans_and_what_it_starts_with(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    day = small_day(tmp_path / "day", {"A001C001": 6, "A001C002": 6})
    recipe, queue = tmp_path / "day" / "two.toml", ("--queue", tmp_path / "q.sqlite", "--json")
    code, said = run("queue", "add", day, "--recipe", recipe, "--out", tmp_path / "out", *queue)
    assert code == 0, said
    assert phases(said) == [("planning", 0, 2, True), ("planning", 2, 2, False)]
    code, said = run("queue", "run", *queue)
    assert code == 0, said
    assert phases(said) == [("planning", 0, 2, True), ("planning", 2, 2, False)]
    assert "2 clips queued; starting workers" in said


def test_the_log_that_the_pages_tell_is_not_read_again_for_the_summary(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delattr(request_accounts, "read_records")  # whoever reads it there fails
    day = small_day(tmp_path / "day", {"A001C001": 6})
    recipe = tmp_path / "day" / "two.toml"
    code, said = run("render", day, "--recipe", recipe, "--out", tmp_path / "out", "--json")
    assert code == 0, said
    last = json.loads(said.splitlines()[-1])
    (sums,) = last["folders"].values()
    assert (sums["listed"], sums["delivered"]) == (1, 1)
