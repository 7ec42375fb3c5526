"""A 24-patch chart in a clip's picture, as a record has it: what was measured. Nothing is corrected by it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from annotated_types import Len
from pydantic import Field

from rushlight.batch.records.shape import Count, Number, Shape, Triple
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.measure.chart_in_picture import ChartFound, ChartPlace

__all__ = ["Chart", "ChartPatch", "chart_record"]


class ChartPatch(Shape):
    """One patch of the chart."""

    ap0: Triple = Field(description="Mean scene light as the camera has it, ACES2065-1.")
    lab: Triple = Field(description="CIE L*a*b* of that light through the clip's exact look.")
    difference: Number = Field(
        description="CIEDE2000 to the published patch through the same look: `colour.patches` of the record."
    )


class Chart(Shape):
    """A chart that a row says is in the picture, in light ahead of the row's corrections and through the clip's exact look."""

    corners: Annotated[list[Annotated[list[Number], Len(2, 2)]], Len(4, 4)] = Field(
        description="Corners as the row has them: x, y in pixels of the original, clockwise from the top left of dark skin."
    )
    frame: Count = Field(description="Frame number in the original.")
    timecode: str = Field(description="Timecode of that frame.")
    exposure: Number = Field(
        description="Exposure error in stops, by four greys: above 0 the camera has them brighter than published."
    )
    cct: Number | None = Field(
        description="Correlated colour temperature of the greys, in kelvin; neutral ones have some 6500 (D65). Null where it cannot be told."
    )
    duv: Number | None = Field(
        description="Their distance from the Planckian locus, above 0 towards green; D65 has 0.003."
    )
    mean: Number = Field(description="Mean CIEDE2000 of the 24 patches.")
    worst: Number = Field(description="Largest CIEDE2000 of a patch.")
    neutral: Number = Field(description="Largest CIE C*ab that the look leaves in four greys.")
    patches: Mapping[str, ChartPatch] = Field(description="The patches by name.")


def chart_record(place: ChartPlace, found: ChartFound, *, frame: int, timecode: str) -> Chart:
    """Record of a chart that was measured."""
    patches = {
        name: ChartPatch(
            ap0=[round(float(v), 6) for v in found.light[k]],
            lab=[round(float(v), 3) for v in found.shown[k]],
            difference=round(float(found.difference[k]), 3),
        )
        for k, name in enumerate(PATCHES)
    }
    told = 1000 < found.cct < 25_000
    return Chart(
        corners=[list(corner) for corner in place.corners],
        frame=frame,
        timecode=timecode,
        exposure=round(found.exposure, 3),
        cct=round(found.cct) if told else None,
        duv=round(found.duv, 4) if told else None,
        mean=round(float(found.difference.mean()), 3),
        worst=round(float(found.difference.max()), 3),
        neutral=round(found.colour_of_greys, 3),
        patches=patches,
    )
