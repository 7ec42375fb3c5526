"""Options of a night: the command's, else its day's, else as they are without."""

from __future__ import annotations

from pathlib import Path

from rushlight.batch.api.nights import NightOptions, crew_for, take_from
from rushlight.batch.day.shooting_day import ShootingDay
from rushlight.pipelines.recipe.day_document import DayDocument


def test_an_option_overrules_its_day() -> None:
    day = ShootingDay(path=Path("day.toml"), document=DayDocument(graphics="off", ready_by="05:30"))
    given: NightOptions = {"graphics": "require", "ready_by": "04:00"}
    take_from(day, given)
    assert (given["ready_by"], crew_for(given).graphics) == ("04:00", "require")
    left: NightOptions = {"graphics": None}
    take_from(day, left)
    assert (left["ready_by"], crew_for(left).graphics) == ("05:30", "off")
    assert crew_for({}).graphics == "auto"
