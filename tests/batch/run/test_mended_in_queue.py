"""A queue's run makes again what was delivered with damaged frames that can be read now, and looks at nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from damaged_card import Card, card, day, listed, made, records, render
from here import HereFarm, farm_here, run
from rushlight.batch.run import mended_in_queue

__all__ = ["card", "day", "farm_here"]


def test_a_queue_makes_it_again_by_itself(card: Card, day: Path, farm_here: HereFarm) -> None:
    listed(day, card, "intra.mov", "shot")
    queue = ("--queue", day / "q.sqlite")
    render(day, *queue, command="queue add")
    assert run("queue", "run", *queue)[0] == 0 and len(made(farm_here)) == 2
    code, said = run("queue", "run", *queue)
    assert code == 0 and "nothing to run" in said and made(farm_here) == []
    card.put(card.whole, "intra")
    code, said = run("queue", "run", *queue)
    assert code == 0 and "its damaged frame 28 can be read now; made again" in " ".join(said.split())
    assert made(farm_here) == ["intra"]
    after = records(day)
    assert after["intra.mov"]["damage"] == [] and after["shot"]["damage"]
    code, said = run("queue", "run", *queue)
    assert code == 0 and "nothing to run" in said and made(farm_here) == []
    card.put(card.whole, "shot")
    said = render(day, *queue, command="queue add")
    assert "shot: its damaged frame 5 can be read now; made again" in said
    assert run("queue", "run", *queue)[0] == 0 and made(farm_here) == ["shot"]


def test_where_nothing_is_damaged_no_record_is_read(
    card: Card, day: Path, farm_here: HereFarm, monkeypatch: pytest.MonkeyPatch
) -> None:
    card.put(card.whole)
    listed(day, card, "shot")
    queue = ("--queue", day / "q.sqlite")
    render(day, *queue, command="queue add")
    assert run("queue", "run", *queue)[0] == 0
    monkeypatch.setattr(mended_in_queue, "read_records", lambda out: pytest.fail("read"))
    assert run("queue", "run", *queue)[0] == 0


def test_a_folder_that_cannot_be_planned_again_costs_no_other(
    card: Card, day: Path, farm_here: HereFarm
) -> None:
    listed(day, card, "shot")
    queue = ("--queue", day / "q.sqlite")
    render(day, *queue, command="queue add")
    assert run("queue", "run", *queue)[0] == 0
    (day / "out" / "log" / "inputs" / "requests.jsonl").unlink()
    card.put(card.whole, "shot")
    code, said = run("queue", "run", *queue)
    assert code == 0 and "what was copied again of its originals cannot be planned" in " ".join(said.split())
