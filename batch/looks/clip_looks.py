"""The looks of one clip in numbers: the recipe's, and those of outputs that state another look, show LUT or display."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypedDict

from rushlight.batch.decisions.lut_files import LutFiles
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.looks.corrections import corrections
from rushlight.batch.looks.show_lut_spaces import (
    check_range,
    described_side,
    inherited_side,
    lut_sides,
    no_lut,
    without_lut,
)
from rushlight.pipelines.colour.camera_encodings import Encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.errors import ListError, LutError
from rushlight.pipelines.job.other_looks import inherited_notes, other_looks
from rushlight.pipelines.job.spec import GradeSpec, LookSpec, LutSpec
from rushlight.pipelines.recipe.look_settings import OtherLook
from rushlight.pipelines.recipe.model import LookSettings, Output, Recipe

__all__ = ["ClipLooks", "clip_looks", "lut_notes"]


class ClipLooks(TypedDict):
    """The recipe's look of a clip; those of outputs that have another, by name; and the name of each such output's."""

    look: LookSpec
    looks: Mapping[str, LookSpec]
    shows: Mapping[str, str]


def clip_looks(
    row: Row,
    recipe: Recipe,
    takes: Callable[[Output, Row], bool],
    encoding: Encoding,
    cdl: CDL | None,
    luts: LutFiles,
    base: Path,
) -> ClipLooks:
    """The looks of a clip and of those outputs that it goes to. InputError with the key of the row, naming the output where it
    is of one that has another look."""
    look = _look(row, recipe.look, encoding, cdl, luts, base)
    outputs = [output for output in recipe.output if takes(output, row)]
    looks, shows = other_looks(
        recipe, outputs, look, lambda other: _other_look(row, other, encoding, cdl, luts, base)
    )
    return {"look": look, "looks": looks, "shows": shows}


def lut_notes(row: Row, recipe: Recipe, looks: ClipLooks, encoding: Encoding, luts: LutFiles) -> list[str]:
    """Warnings where what the recipe says of LUTs holds for one that is not the recipe's own, a row's or an output's; and where a
    LUT says in words that it takes something else than it gets."""
    found = inherited_side(row, recipe.look, looks["look"].lut)
    found += described_side(looks["look"].lut, luts.described, row, recipe.look, encoding)
    return found + inherited_notes(recipe, looks["looks"], looks["shows"])


def _other_look(
    row: Row, other: OtherLook, encoding: Encoding, cdl: CDL | None, luts: LutFiles, base: Path
) -> LookSpec:
    """The look of an output that has another than the recipe's. A LUT of its own is no more for finished video than the
    recipe's is."""
    if other.own_lut and encoding.kind != "video":
        row = without_lut(row)
    return _look(row, other.settings, encoding, cdl, luts, base, other.lut_display)


def _look(
    row: Row,
    settings: LookSettings,
    encoding: Encoding,
    cdl: CDL | None,
    luts: LutFiles,
    base: Path,
    lut_display: str = "",
) -> LookSpec:
    """The look by its settings. `lut_display`: what a LUT is made for where nobody states it; else the look's display."""
    video = encoding.kind == "video"
    lut = None
    name = row["lut"] or ("" if video else settings.show_lut)
    if name and name.lower() != "none":
        try:
            read = luts.read(luts.find(name, Path(row.file).parent if row["lut"] else base))
        except LutError as error:
            raise LutError(str(error), key="lut") from None
        check_range(read, row, settings)
        contains = (
            row["lut_contains_grade"].lower() == "yes"
            if row["lut_contains_grade"]
            else settings.lut_contains_grade
        )
        if contains and cdl is not None:
            raise ListError(
                "the LUT is stated to contain the grade, and there is a CDL as well; remove one of them",
                key="lut",
            )
        lut = LutSpec(
            path=f"log/inputs/{read.kept}",
            name=read.name,
            digest=read.digest,
            interpolation=settings.lut_interpolation,
            **lut_sides(row, settings, encoding, lut_display),
            contains_grade=contains,
        )
    else:
        no_lut(row, settings, encoding)
    return LookSpec(
        encoding=encoding.name,
        exposure_index=encoding.exposure_index,
        **corrections(row, LookSettings() if video else settings),
        grade=_grade(cdl, settings) if cdl else None,
        grade_space=settings.grade_space,
        grade_order=settings.grade_order,
        lut=lut,
        transform="none" if video and not lut else settings.transform,
        display=settings.display,
        size=settings.size,
    )


def _grade(cdl: CDL, settings: LookSettings) -> GradeSpec:
    return GradeSpec(
        slope=cdl.slope,
        offset=cdl.offset,
        power=cdl.power,
        saturation=cdl.saturation,
        clamp=cdl.clamp and settings.clamp,
        id=cdl.id,
    )
