"""A measured chart on a clip's page: each patch as it is shown, in a frame of what it is published as, and the errors in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.batch.records.colour import Chart, Patch
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.gamuts import REC709
from rushlight.pipelines.measure.colour_difference import xyz_of_lab

__all__ = ["DrawnChart", "drawn_chart"]

NEUTRAL = 6500  # kelvin of D65, to a hundred


@dataclass(frozen=True, kw_only=True)
class DrawnChart:
    """Patches in the chart's order (name, difference, shown, published: the last two as `#rrggbb`), and all in words."""

    patches: Sequence[tuple[str, float, str, str]]
    words: str


def drawn_chart(record: DeliveredRecord) -> DrawnChart | None:
    """The chart of a record; None where it has none."""
    chart = record.chart
    if chart is None:
        return None
    published = record.colour.patches
    patches = [
        (name, patch.difference, _paint(patch.lab), _published(name, published))
        for name in PATCHES
        if (patch := chart.patches.get(name))
    ]
    return DrawnChart(patches=patches, words=_words(chart))


def _words(chart: Chart) -> str:
    stops = abs(chart.exposure)
    brighter = "brighter" if chart.exposure > 0 else "darker"
    light = "exposed as published" if stops < 0.05 else f"{stops:.2f} stops {brighter} than published"
    if chart.cct is None:
        white = "the colour of its greys cannot be told"
    else:
        off = round(chart.cct) - NEUTRAL
        side = (
            "neutral" if abs(off) < 100 else f"{abs(off)} K {'bluer' if off > 0 else 'warmer'} than neutral"
        )
        white = f"greys of {chart.cct:.0f} K, {side}" + (
            f", Duv {chart.duv:+.4f}" if chart.duv is not None else ""
        )
    worst = max(chart.patches, key=lambda name: chart.patches[name].difference, default="")
    return (
        f"Chart at {chart.timecode}, as the camera has it: {light}; {white}. Through the look it is CIEDE2000 {chart.mean:.1f} from"
        f" what is published, at most {chart.worst:.1f} ({worst}); its greys are left with C*ab {chart.neutral:.1f} at most."
        " Nothing was corrected by it."
    )


def _published(name: str, patches: Mapping[str, Patch]) -> str:
    return _paint(patches[name].lab) if name in patches else "none"


def _paint(lab: Sequence[float]) -> str:
    """sRGB of L*a*b* (D65) for a page; light that it cannot show is clipped."""
    light = np.linalg.solve(REC709.to_xyz(), xyz_of_lab(np.array(lab)))
    codes = np.rint(find_display("sRGB").from_light(light) * 255).astype(int)
    return "#" + "".join(f"{code:02x}" for code in codes)
