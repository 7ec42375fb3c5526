"""The colour of a clip as a record has it: checksum, patches, tiles, and what known faults would do to them; level over time; a chart in
the picture."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, Literal

from annotated_types import Len
from pydantic import Field

from rushlight.batch.records.shape import Count, Number, Shape, Tiles, Triple
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.measure.chart_in_picture import ChartFound, ChartPlace

__all__ = [
    "CAUTION",
    "Chart",
    "ChartPatch",
    "Colour",
    "Flashes",
    "Graded",
    "Level",
    "Patch",
    "Picture",
    "Sample",
    "ShiftedTiles",
    "SomeColour",
    "cautions",
    "chart_record",
]

CAUTION = "caution: "  # begins a warning that pages show among what somebody must look at
PLACES = 4  # that a sentence names


class Flashes(Shape):
    """A run of frames that flash by the published limits of ITU-R BT.1702: a caution, no test of safety."""

    kind: Literal["general", "red"] = Field(description="general: changes of light; red: of saturated red.")
    first: str = Field(description="Timecode of its first frame.")
    last: str = Field(description="Timecode of its last frame.")
    area: Number = Field(description="Largest share of the picture that flashes at once, 0 to 1.")


LowAndHigh = Annotated[list[Number], Len(2, 2)]


class Level(Shape):
    """Signal of a delivered picture before burn-in, once a second, or of a run of seconds the furthest."""

    frame: Count = Field(description="Frame number in the original; of a run its first.")
    luma: LowAndHigh = Field(description="Lowest and highest luma: 0 is black, 1 reference white.")
    rgb: LowAndHigh = Field(description="Lowest and highest of R', G' and B'.")
    outside: Number = Field(
        description="Share of the picture that leaves the tolerance of EBU R 103, 0 to 1; more than 0.01 is an error of SDR."
    )


class Graded(Shape):
    """A run of frames, and who graded them."""

    by: str = Field(
        description="processor, or the graphics card by its maker's name; both, joined by ` and `, where each graded some pictures of the frames."
    )
    first: Count = Field(description="Frame number in the original of the first of them.")
    frames: Count = Field(description="Number of frames.")


class Picture(Shape):
    """A distinct graded picture, which one or several outputs show, and the side file of its frames."""

    state: str = Field(default="", description="State of the colour: log, show or graded.")
    look: str = Field(
        default="", description="Name of its look in the record's `looks`; empty: the clip's `look`."
    )
    look_digest: str = Field(default="", description="Digest of that look; empty: the clip's `look`.")
    display: str = Field(default="", description="Display of that look; empty: the clip's `look`.")
    raster: str = Field(default="", description="Raster, `WIDTHxHEIGHT` in pixels.")
    pixel_format: str = Field(default="", description="Pixel format, by FFmpeg's name.")
    digest: str = Field(description="Digest of all its frames in order, before burn-in and encoding.")
    outputs: list[str] = Field(description="Names of the outputs that show it.")
    index: Count = Field(default=0, description="Number of the picture in the side file.")
    frames: str = Field(default="", description="Path of the side file of frames, from the output folder.")
    level: list[Level] = Field(
        default=[], description="Its signal over time; empty of state log, and of older versions."
    )
    flashes: list[Flashes] = Field(
        default=[], description="Runs of frames that flash too often; empty of older versions as well."
    )


class Sample(Shape):
    """Tiles of one sampled frame."""

    frame: Count = Field(description="Frame number in the original.")
    values: Tiles = Field(
        description="Tiles by row, column and component: L*a*b*, or ten-bit codes in state log; null under burn-in."
    )


class ShiftedTiles(Shape):
    """By how much known faults would move the tiles of one frame: what `verify` holds a difference against."""

    outputs: list[str] = Field(description="Names of the outputs that show it.")
    frame: Count = Field(description="Frame number in the original.")
    moved: Mapping[str, Tiles] = Field(description="Difference of each tile in L*a*b*, by fault.")


class Patch(Shape):
    """Colour of one patch through the whole look."""

    xyz: Triple = Field(description="CIE XYZ, white at Y = 1.")
    lab: Triple = Field(description="CIE L*a*b*.")


class SomeColour(Shape):
    digest: str = Field(default="", description="Checksum of the clip's colour, over all its pictures.")
    pictures: list[Picture] = Field(default=[], description="Distinct graded pictures.")
    patches: Mapping[str, Patch] = Field(
        default={}, description="Black, grey, white and the 24 chart patches through the exact look, by name."
    )
    tiles: Mapping[str, list[Sample]] = Field(default={}, description="Tiles of sampled frames, by output.")
    sensitivity: Mapping[str, Number] = Field(
        default={}, description="CIEDE2000 that a small fault would make in this clip, by fault."
    )
    faults: list[ShiftedTiles] = Field(
        default=[], description="By how much known faults would move the tiles."
    )


class Colour(SomeColour):
    """Colour of a delivered clip as it was made: checksum, patches and tiles."""

    digest: str = Field(description="Checksum of the clip's colour, over all its pictures.")
    pictures: list[Picture] = Field(description="Distinct graded pictures.")
    tiles: Mapping[str, list[Sample]] = Field(description="Tiles of sampled frames, by output.")
    sensitivity: Mapping[str, Number] = Field(
        description="CIEDE2000 that a small fault would make in this clip, by fault."
    )


def cautions(pictures: Iterable[Picture]) -> list[str]:
    """Sentences on pictures that may flash too much, one for all pictures that do so alike."""
    found = []
    for picture in pictures:
        runs = [f"{f.first} to {f.last}{' (red)' if f.kind == 'red' else ''}" for f in picture.flashes]
        if runs:
            places = ", ".join(runs[:PLACES]) + (f" and {len(runs) - PLACES} more" if runs[PLACES:] else "")
            found.append(
                f"{CAUTION}may flash more than the limits of ITU-R BT.1702 allow, at {places}; this is no test of safety:"
                " the broadcaster's own licensed test decides"
            )
    return list(dict.fromkeys(found))


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
