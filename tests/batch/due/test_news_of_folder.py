"""What a plan says of an output folder: damaged frames that can be read now, and those that cannot."""

from __future__ import annotations

from pathlib import Path

from damaged_card import RECIPE, Card, card, day, listed, made, render
from here import HereFarm, farm_here
from rushlight.batch.due.news_of_folder import damage_news, room_to_make, sound_news
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request

__all__ = ["card", "day", "farm_here"]


def test_what_a_plan_says_of_damaged_clips(card: Card, day: Path, farm_here: HereFarm) -> None:
    listed(day, card, "intra.mov", "shot")
    request = Request(clip_list=day / "day.csv", recipe=str(day / "r.toml"), out=day / "out")
    assert "damaged_frames" in RECIPE and damage_news(prepare(request), day / "out") == []
    render(day)
    prepared = prepare(request)
    said = damage_news(prepared, day / "out")
    assert len(said) == 2 and all("Once its original is copied again whole" in text for text in said)
    assert room_to_make(prepared, day / "out") == ([], 0) and sound_news(prepared, day / "out") == []
    card.put(card.whole, "intra")
    made(farm_here)
    said = damage_news(prepared, day / "out")
    assert [text.endswith("can be read now; `render` makes it again") for text in said] == [True, False]
    assert room_to_make(prepared, day / "out")[1] == 1 and made(farm_here) == []
