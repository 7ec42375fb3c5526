"""What a show LUT takes and gives: spaces and levels, as a row states them, else the recipe.

A LUT stated for another encoding than the clip's gets the signal in that one, and one stated for another display than
the recipe's is shown in its light: `rushlight.pipelines.look` does both. A statement without a LUT is an error.
"""

from __future__ import annotations

import re
from typing import Any

from rushlight.batch.lists import Row
from rushlight.pipelines.display import find_display
from rushlight.pipelines.encodings import Encoding, find_encoding
from rushlight.pipelines.errors import EncodingError, ListError
from rushlight.pipelines.look import working_encoding
from rushlight.pipelines.lut import lut_side
from rushlight.pipelines.recipe import LookSettings

__all__ = ["lut_sides", "no_sides"]

SIDES = ("lut_input", "lut_output")


def lut_sides(row: Row, settings: LookSettings, encoding: Encoding) -> dict[str, Any]:
    """The fields `input`, `input_space`, `output` and `output_space` of a LUT for a clip of that encoding.

    A space is empty where there is nothing to convert. `LogC3` without an exposure index is the clip's own LogC3.
    EncodingError with key `lut_input` or `lut_output` for an unknown space, or for a display of the other dynamic range.
    """
    taken, levels_in = lut_side(row["lut_input"] or settings.lut_input)
    given, levels_out = lut_side(row["lut_output"] or settings.lut_output)
    own, key = working_encoding(encoding), "lut_input"
    try:
        index = None if re.search(r"(?i)\bEI", taken) else own.exposure_index
        wanted = find_encoding(taken, exposure_index=index) if taken else own
        key = "lut_output"
        shown = find_display(settings.display)
        made_for = find_display(given) if given else shown
        if made_for.hdr != shown.hdr:
            raise EncodingError(
                f"the LUT is stated to be for {made_for.name}, the recipe's display is {shown.name}: no conversion is "
                "defined between SDR and HDR"
            )
    except EncodingError as error:
        raise error.at(key=key) from None
    space = f"{wanted.name} EI {wanted.exposure_index}" if wanted.exposure_index else wanted.name
    return {
        "input": levels_in,
        "input_space": "" if wanted == own else space,
        "output": levels_out,
        "output_space": "" if made_for == shown else made_for.name,
    }


def no_sides(row: Row) -> None:
    """ListError where a row without a LUT states what its LUT takes or gives."""
    for key in SIDES:
        if row[key]:
            raise ListError("is stated, but the clip has no show LUT", key=key)
