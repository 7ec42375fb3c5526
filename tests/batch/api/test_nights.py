"""Options of a night: the command's, else its day's, else as they are without."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from rushlight.batch.api.nights import NightOptions, crew_for, take_from
from rushlight.batch.day.shooting_day import ShootingDay
from rushlight.pipelines.errors import OptionError
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


@pytest.mark.parametrize("graphics", ["", False, True, 0, "AUTO", ["off"]])
def test_a_value_of_graphics_that_is_none_is_refused(graphics: Any) -> None:
    """`graphics=False` was taken for auto."""
    given: NightOptions = {"graphics": graphics}
    take_from(ShootingDay(path=Path("day.toml"), document=DayDocument()), given)
    with pytest.raises(OptionError, match=r"--graphics .*: takes auto, off or require"):
        crew_for(given)
