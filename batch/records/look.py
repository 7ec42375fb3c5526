"""The look as a record has it: the grade, whose it is, and every layer with its numbers."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import Field

from rushlight.batch.records.colour import Patch
from rushlight.batch.records.shape import Count, Number, Shape, Triple

__all__ = [
    "Grade",
    "Layer",
    "Look",
    "OpenColorIO",
    "OtherLook",
    "SomeLook",
]


class Grade(Shape):
    """ASC CDL of a clip in numbers, and whose decision it is."""

    slope: Triple = Field(description="ASC CDL slope: red, green, blue.")
    offset: Triple = Field(description="ASC CDL offset: red, green, blue.")
    power: Triple = Field(description="ASC CDL power: red, green, blue.")
    saturation: Number = Field(description="ASC CDL saturation.")
    source: str = Field(default="", description="File, with line or id, that the grade was read from.")
    reason: str = Field(default="", description="Why this grade is the clip's: how it was matched.")


class Layer(Shape):
    """One layer of a look with all its numbers; each kind of layer has those fields that are its own."""

    layer: str = Field(
        description="Kind of layer: encoding, exposure, white balance, printer points, grade, show LUT, transform, display."
    )
    name: str = Field(default="", description="Name of the encoding, show LUT, transform or display.")
    exposure_index: Count | None = Field(
        default=None, description="Exposure index that the encoding's curve is for."
    )
    stops: Number = Field(default=0.0, description="Exposure correction, in stops.")
    white_xy: list[Number] = Field(default=[], description="White of the scene, CIE 1931 x and y.")
    adaptation: str = Field(default="", description="Chromatic adaptation transform.")
    points: list[Number] = Field(default=[], description="Printer points: red, green, blue.")
    step: Number = Field(default=0.0, description="One printer point, in log10 of light.")
    slope: list[Number] = Field(default=[], description="ASC CDL slope: red, green, blue.")
    offset: list[Number] = Field(default=[], description="ASC CDL offset: red, green, blue.")
    power: list[Number] = Field(default=[], description="ASC CDL power: red, green, blue.")
    saturation: Number = Field(default=1.0, description="ASC CDL saturation.")
    clamp: bool = Field(default=True, description="Whether the ASC CDL clamps to 0..1.")
    space: str = Field(default="", description="Space that the grade acts in: log, ACEScct or display.")
    digest: str = Field(default="", description="SHA-256 of the show LUT's numbers, `sha256:HEX`.")
    size: Count = Field(
        default=0, description="Points a side of the show LUT; of one of curves alone, points of a curve."
    )
    nodes: list[str] = Field(
        default=[],
        description="What the show LUT does, in order, in words; empty for one that is a lattice alone.",
    )
    interpolation: str = Field(
        default="", description="Interpolation of the show LUT: tetrahedral or trilinear."
    )
    input_space: str = Field(default="", description="Encoding that the show LUT takes.")
    input_levels: str = Field(default="", description="Levels that the show LUT takes: narrow or full.")
    output_space: str = Field(default="", description="Display that the show LUT is for.")
    output_levels: str = Field(default="", description="Levels that the show LUT gives: narrow or full.")
    contains_grade: bool = Field(default=False, description="Whether the show LUT has a grade in it.")
    config: str = Field(default="", description="OpenColorIO configuration of the transform.")
    view: str = Field(default="", description="View of that configuration.")


class OpenColorIO(Shape):
    """OpenColorIO that a look was evaluated by."""

    version: str = Field(description="Version of the library.")
    config: str = Field(
        description="Name of its built-in configuration; empty where it evaluated a node of a LUT file alone."
    )


class SomeLook(Shape):
    layers: list[Layer] = Field(default=[], description="Layers of the look in the order in which they act.")
    digest: str = Field(
        default="", description="SHA-256 over the layers' numbers, `sha256:HEX`: alike for the same look."
    )
    description: str = Field(default="", description="Look in one line of plain English.")
    grade: Grade | None = Field(default=None, description="Grade and whose decision it is; null without one.")
    opencolorio: OpenColorIO | None = Field(
        default=None,
        description="OpenColorIO that evaluated the look; null where none of its layers is OpenColorIO's.",
    )


class Look(SomeLook):
    """Look that a clip was made with, with all its numbers."""

    digest: str = Field(
        description="SHA-256 over the layers' numbers, `sha256:HEX`: alike for the same look."
    )
    description: str = Field(description="Look in one line of plain English.")


class OtherLook(Look):
    """Look of outputs that do not show the recipe's, with all its numbers."""

    display: str = Field(description="Display that it is made for.")
    colour: str = Field(
        default="", description="Checksum of the clip's colour, over the pictures that show this look."
    )
    patches: Mapping[str, Patch] = Field(
        default={},
        description="Black, grey, white and the 24 chart patches through this exact look, by name.",
    )
