"""Looks of outputs that do not show the recipe's, in the document of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypedDict

from rushlight.pipelines.job.spec import LookSpec

__all__ = ["OutputLook", "output_looks"]


class OutputLook(TypedDict):
    """Look of an output that does not show the recipe's."""

    name: str
    show_lut: str | None
    transform: str
    shown_by: list[str]  # the LUT, the transform, or one after the other, in words
    display: str
    look: dict[str, object]


def output_looks(looks: Mapping[str, LookSpec], shows: Mapping[str, str]) -> dict[str, OutputLook]:
    """Looks of a clip beside the recipe's, by the output's name. `shows` has the name in `looks` of each output's."""
    return {
        output: {
            "name": name,
            "show_lut": lut.name if (lut := looks[name].lut) else None,
            "transform": looks[name].transform,
            "shown_by": list(looks[name].shown_by),
            "display": looks[name].display,
            "look": looks[name].model_dump(mode="json"),
        }
        for output, name in shows.items()
    }
