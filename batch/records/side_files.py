"""Side files of a record: a line a frame of each distinct picture, and what a worker leaves beside each segment."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Self

from annotated_types import Len
from pydantic import Field, model_validator

from rushlight.batch.records.colour import Graded, Level, Sample, ShiftedTiles
from rushlight.batch.records.original import Counts, Damage, Pushed
from rushlight.batch.records.shape import Box, Count, Number, Shape, State, Tiles
from rushlight.pipelines.measure.flashes import unpacked

__all__ = ["FrameLine", "SegmentMovie", "SegmentOriginal", "SegmentPicture", "SegmentSide", "SegmentStill"]

Cells = Annotated[list[Number], Len(16, 16)]  # four rows of four


class FrameLine(Shape):
    """A line of `log/frames/JOB.jsonl`: one frame of one distinct picture."""

    picture: Count = Field(description="Number of the picture: `colour.pictures[].index` in the record.")
    frame: Count = Field(description="Frame number in the original.")
    digest: str = Field(default="", description="Digest of the frame before burn-in and encoding.")
    luma: Cells = Field(description="Mean luma codes of the picture's sixteen cells, four rows of four.")


class SegmentPicture(Shape):
    """A distinct picture of a segment, with its frames in order."""

    state: State = Field(description="State of the colour: log, show or graded.")
    look: str = Field(default="", description="Name of its look; empty: the recipe's.")
    raster: str = Field(description="Raster, `WIDTHxHEIGHT` in pixels.")
    pixel_format: str = Field(description="Pixel format, by FFmpeg's name.")
    outputs: list[str] = Field(description="Names of the outputs that show it.")
    picture: Box = Field(description="Picture within the raster: x, y, width, height in pixels.")
    digests: list[str] = Field(description="Digest of each frame.")
    grids: list[Cells] = Field(description="Mean luma codes of the sixteen cells of each frame.")
    light: str = Field(
        default="",
        description="Light and red of every frame at a grid of points, packed; empty in state log, and of older versions.",
    )
    counts: Counts = Field(description="Pixels outside 0..1 of the camera's signal.")
    level: list[Level] = Field(default=[], description="Its signal, once a second.")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.light and len(unpacked(self.light)) != len(self.digests):
            raise ValueError("light is not that of its frames")
        return self


class SegmentMovie(Shape):
    """Measurements of a movie's segment."""

    tiles: list[Sample] = Field(description="Tiles of sampled frames.")
    covered: list[Box] = Field(description="Boxes under burn-in: x, y, width, height in pixels.")
    light: list[Annotated[list[Number], Len(2, 2)]] = Field(
        description="Brightest pixel and mean of each frame of a PQ movie, in cd/m2."
    )


class SegmentStill(Shape):
    """A still that was made with a segment."""

    file: str = Field(description="Name of the file.")
    kind: str = Field(description="Format of the still, by the recipe's name.")
    frame: Count = Field(description="Frame number in the original.")
    picture: Box = Field(description="Picture within the raster: x, y, width, height in pixels.")
    digest: str = Field(description="Digest of the picture's 16-bit codes.")
    tiles: Tiles | None = Field(default=None, description="Mean colour of a grid of tiles, CIE L*a*b*.")


class SegmentOriginal(Shape):
    """Measurements of the original's pictures in a segment."""

    grids: list[Cells] = Field(description="Mean signal of the sixteen cells of each frame, 0 to 1.")
    missing: list[Count] = Field(description="Frames that are missing, counted from 0 in the segment.")
    clipped: list[Number] = Field(description="Share of pixels at the maximum in each sampled frame, 0 to 1.")


class SegmentSide(Shape):
    """Side file of a segment: what a worker finds out of it, kept beside its files until the job is finished."""

    schema_: str = Field(alias="schema", description="Schema and version of the side file.")
    first: Count = Field(description="Frame number in the original of the segment's first frame.")
    pictures: list[SegmentPicture] = Field(description="Distinct pictures.")
    movies: Mapping[str, SegmentMovie] = Field(description="What was measured of each movie, by output.")
    stills: Mapping[str, list[SegmentStill]] = Field(description="Stills, by output.")
    graded_by: list[Graded] = Field(
        default=[], description="Who graded which frames; empty where none was graded, and of older versions."
    )
    damage: list[Damage] = Field(description="Frames that did not decode cleanly.")
    warnings: list[str] = Field(description="Things to know of the segment, a sentence each.")
    sensitivity: Mapping[str, Number] = Field(
        description="CIEDE2000 that a small fault would make in this clip, by fault; empty without its middle frame."
    )
    faults: list[ShiftedTiles] = Field(
        default=[], description="By how much known faults would move the tiles."
    )
    original: SegmentOriginal | None = Field(
        default=None, description="What was seen in the original's pictures."
    )
    pushed: Pushed = Field(default=Pushed(), description="What corrections push out of 0..1.")
    seen: Counts = Field(default=Counts(), description="Pixels outside 0..1 where there is no movie.")
