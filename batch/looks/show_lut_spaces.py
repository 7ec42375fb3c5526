"""Input and output of a show LUT: spaces and levels, as a row states them, else the recipe.

A LUT stated for another encoding than the clip's gets the signal in that one, and one stated for another display than
the recipe's is shown in its light: `rushlight.pipelines.colour.look` does both. A statement without a LUT is an error.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, TypedDict

from rushlight.batch.decisions.lut_files import ReadLut
from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.colour.camera_encodings import Encoding, Levels, find_encoding
from rushlight.pipelines.colour.displays import Display, find_display
from rushlight.pipelines.colour.look import working_encoding
from rushlight.pipelines.errors import EncodingError, ListError, LutError
from rushlight.pipelines.job.spec import LutSpec
from rushlight.pipelines.luts.cube_lut import lut_side
from rushlight.pipelines.luts.lut_spaces import lut_output
from rushlight.pipelines.recipe.model import LookSettings

if TYPE_CHECKING:
    from rushlight.pipelines.recipe.clip_defaults import Default

__all__ = [
    "check_range",
    "check_sides",
    "described_side",
    "inherited_side",
    "lut_sides",
    "no_lut",
    "with_default_lut",
    "without_lut",
]

SIDES = ("lut_input", "lut_output")


class LutSides(TypedDict):
    """Fields of a LUT by which the signal is converted for it; a space is empty where there is nothing to convert."""

    input: Levels
    input_space: str
    output: Levels
    output_space: str


def lut_sides(row: Row, settings: LookSettings, encoding: Encoding, lut_display: str = "") -> LutSides:
    """The fields `input`, `input_space`, `output` and `output_space` of a LUT for a clip of that encoding.

    A space is empty where there is nothing to convert. `lut_display` is what a LUT is for of which nobody states it; else it is
    for the look's own display. `LogC3` without an exposure index is the clip's own LogC3.
    EncodingError with key `lut_input` or `lut_output` for an unknown space, for a display of the other dynamic range, or for a
    LUT that gives a scene where no transform shows it.
    """
    taken, levels_in = lut_side(row["lut_input"] or settings.lut_input)
    given, levels_out = lut_side(row["lut_output"] or settings.lut_output)
    own, key = working_encoding(encoding), "lut_input"
    try:
        wanted = find_encoding(taken, exposure_index=_index(taken, own)) if taken else own
        key = "lut_output"
        shown = find_display(settings.display)
        named = given or lut_display or settings.display
        gives = lut_output(named, exposure_index=_index(given, own))
        if isinstance(gives, Display) and gives.hdr != shown.hdr:
            raise EncodingError(
                f"the LUT is {'stated to be ' if given else ''}for {gives.name}, the {'recipe' if not lut_display else 'output'}'s "
                f"display is {shown.name}: no conversion is "
                "defined between SDR and HDR"
            )
        if isinstance(gives, Encoding) and settings.transform == "none":
            raise EncodingError(
                f'the LUT is stated to give {gives.name}, which is for no display; transform = "aces2" shows it, and the '
                'recipe has "none"'
            )
    except EncodingError as error:
        raise error.at(key=key) from None
    return {
        "input": levels_in,
        "input_space": "" if wanted == own else _named(wanted),
        "output": levels_out,
        "output_space": "" if gives == shown else _named(gives),
    }


def _index(text: str, own: Encoding) -> int | None:
    """The clip's own exposure index, unless the text states one."""
    return None if re.search(r"(?i)\bEI", text) else own.exposure_index


def _named(space: Encoding | Display) -> str:
    index = space.exposure_index if isinstance(space, Encoding) else None
    return f"{space.name} EI {index}" if index else space.name


def check_range(lut: ReadLut, row: Row, settings: LookSettings) -> None:
    """LutError where a file says that it takes or gives narrow range and nobody states levels of that side: readers leave
    such a line out, so it may be wrong, and a picture through the wrong one is."""
    for line, text in lut.says_narrow:
        words = set(text.split()[0].upper().split("_"))
        ends = [side for side, ways in zip(SIDES, _WAYS, strict=True) if words & ways]
        for side in ends or SIDES:
            by_recipe = getattr(settings, side) if side in settings.model_fields_set else ""
            if (row[side] or by_recipe).lower().rpartition(" ")[2] not in ("narrow", "full"):
                raise LutError(
                    f'{lut.name!r} says {text!r} in line {line}, and nobody states its levels; state {side} = "narrow", '
                    'or "full" where that line is wrong',
                    key=side,
                )


_WAYS = ({"IN", "INPUT"}, {"OUT", "OUTPUT"})


def check_sides(default: Default, file: str, key: str) -> None:
    """EncodingError where a table of defaults states a space that is none."""
    finders: tuple[tuple[str, Callable[[str], object]], ...] = (
        ("lut_input", find_encoding),
        ("lut_output", lut_output),
    )
    for side, find in finders:
        space, _ = lut_side(getattr(default, side))
        try:
            _ = space and find(space)
        except EncodingError as error:
            raise error.at(file=file, key=f"{key}.{side}") from None


def with_default_lut(row: Row, said: Mapping[str, str], encoding: str, settings: LookSettings) -> Row:
    """The row with the show LUT of its defaults and what they say of it, unless it states these or is finished video.
    `encoding` is the clip's, as whoever states it names it."""
    if not encoding or not any(said.get(key) for key in ("lut", *SIDES)):
        return row
    try:
        if find_encoding(encoding).kind == "video":
            return row
    except EncodingError as error:
        raise error.at(key="encoding") from None
    wanted = {"lut": said["lut"]} if said.get("lut") else {}
    lut = row["lut"] or wanted.get("lut") or settings.show_lut
    if lut and lut.lower() != "none":
        wanted |= {key: said[key] for key in SIDES if said.get(key)}
    return replace(row, cells={**wanted, **{key: text for key, text in row.cells.items() if text}})


def without_lut(row: Row) -> Row:
    """The row without its show LUT and what it says of that: for a look that has a LUT of its own."""
    said = ("lut", "lut_input", "lut_output", "lut_contains_grade")
    return replace(row, cells={key: text for key, text in row.cells.items() if key not in said})


def inherited_side(row: Row, settings: LookSettings, lut: LutSpec | None) -> list[str]:
    """A warning where the recipe's word on LUTs converts the signal for a LUT that is not the recipe's own."""
    if not (lut and row["lut"] and settings.show_lut and lut.input_space and not row["lut_input"]):
        return []
    return [f"its LUT {lut.name!r} gets the signal in {lut.input_space}, as the recipe states for LUTs"]


def described_side(
    lut: LutSpec | None, said: Mapping[str, str], row: Row, settings: LookSettings, encoding: Encoding
) -> list[str]:
    """A warning where a LUT file says in words that it takes another encoding than it gets, and nobody states what it takes. `said`:
    these words by the name that a file is kept under."""
    if lut is None or lut_side(row["lut_input"] or settings.lut_input)[0]:
        return []
    text = said.get(PurePosixPath(lut.path).name, "")
    try:
        named = find_encoding(text.partition(",")[0])
    except EncodingError:
        return []  # words for people
    own = working_encoding(encoding)
    if named.name == own.name:
        return []
    return [
        f'its LUT {lut.name!r} says that it takes "{text[:80]}", and gets {_named(own)}: state lut_input, the one or the other'
    ]


def no_lut(row: Row, settings: LookSettings, encoding: Encoding) -> None:
    """ListError where a row without a LUT states what its LUT takes or gives, or is SDR video for an HDR display."""
    for key in SIDES:
        if row[key]:
            raise ListError("is stated, but the clip has no show LUT", key=key)
    if encoding.kind == "video" and find_display(settings.display).hdr:
        raise ListError(
            f"is display-encoded, for SDR, and the recipe's display is {settings.display}: no conversion is defined "
            "between SDR and HDR; a LUT in its row may be one",
            key="encoding",
        )
