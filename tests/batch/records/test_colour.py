"""The record of a measured chart: rounded, in the chart's order, and null where a colour temperature cannot be told."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.batch.records.colour import Chart, chart_record
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.measure.chart_in_picture import ChartFound, ChartPlace

PLACE = ChartPlace(corners=((1.5, 2), (9, 2), (9, 8), (1, 8)), offset=3)


def found(cct: float = 5600.4) -> ChartFound:
    light = np.array(list(PATCHES.values()))
    return ChartFound(
        exposure=0.12345,
        cct=cct,
        duv=0.00123456,
        light=light,
        shown=light * 100,
        difference=np.arange(24.0),
        colour_of_greys=1.23456,
    )


def test_it_reads_again_as_it_was_written() -> None:
    record = chart_record(PLACE, found(), frame=103, timecode="01:00:00:03")
    assert Chart.read(record.plain()) == record
    assert (record.exposure, record.cct, record.duv, record.neutral) == (0.123, 5600, 0.0012, 1.235)
    assert (record.mean, record.worst, record.corners[0]) == (11.5, 23.0, [1.5, 2.0])
    assert list(record.patches) == list(PATCHES)
    assert record.patches["black 2"].difference == 23.0


@pytest.mark.parametrize("cct", [float("nan"), -300.0, 1e9])
def test_a_light_without_a_temperature_has_none(cct: float) -> None:
    record = chart_record(PLACE, found(cct), frame=103, timecode="01:00:00:03")
    assert record.cct is None and record.duv is None


def test_three_corners_are_no_chart() -> None:
    plain = chart_record(PLACE, found(), frame=103, timecode="01:00:00:03").plain()
    with pytest.raises(OptionError):
        Chart.read({**plain, "corners": plain["corners"][:3]})  # type: ignore[index]
