"""The state of a night: counts that do not add up are refused."""

import pytest

from rushlight.batch.records.night_state import NightCounts
from rushlight.pipelines.errors import OptionError

SUMS = {"delivered": 3, "running": 1, "waiting": 2, "held": 0, "set_aside": 1, "failed": 0}


def test_listed_is_the_sum_of_the_others() -> None:
    assert NightCounts(listed=7, ungraded=2, **SUMS).listed == 7
    assert NightCounts(listed=12, arriving=4, waits_for_grade=1, **SUMS).arriving == 4
    for wrong in (6, 8):
        with pytest.raises(OptionError, match="does not add up"):
            NightCounts.read({"listed": wrong, **SUMS})
