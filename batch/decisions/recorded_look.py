"""A look built again from its record: every layer is there with its numbers, and the show LUT among the kept inputs.

What is built is the look of the record only if its digest is the record's; otherwise there is none. No original is opened.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from rushlight.batch.records.look import Layer, SomeLook
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.look import Look, working_encoding
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import is_file
from rushlight.pipelines.job.from_spec import build_look
from rushlight.pipelines.job.spec import GradeSpec, LookSpec, LutSpec
from rushlight.pipelines.luts.lut_file import LUT_SUFFIXES

__all__ = ["kept_lut", "recorded_look", "recorded_spec"]

INPUTS = "log/inputs"


def recorded_look(record: SomeLook, out: Path) -> Look | None:
    """The exact look of a record of an output folder; None where its layers or its show LUT do not give it."""
    try:
        look = build_look(recorded_spec(record.layers, out), out)
    except (RushlightError, ValueError, KeyError):
        return None
    return look if look.digest() == record.digest else None


def kept_lut(out: Path, digest: str) -> str:
    """Place of a show LUT's file in an output folder, as it was given. KeyError where it is not kept."""
    names = [f"{INPUTS}/{digest.partition(':')[2]}{suffix}" for suffix in LUT_SUFFIXES]
    for name in names:
        if is_file(out, name):
            return name
    raise KeyError(digest)


def recorded_spec(layers: Sequence[Layer], out: Path) -> LookSpec:
    """The look in numbers and names that these layers of a record of an output folder say. KeyError, ValueError or an InputError where they do not say one."""
    by = {layer.layer: layer for layer in layers}
    encoding, display, lut = by["encoding"], by["display"], by.get("show LUT")
    order = [layer.layer for layer in layers]
    return LookSpec(
        encoding=encoding.name,
        exposure_index=encoding.exposure_index,
        exposure=by["exposure"].stops if "exposure" in by else 0.0,
        white_balance=_pair(by["white balance"].white_xy) if "white balance" in by else None,
        printer_points=_triple(by["printer points"].points) if "printer points" in by else None,
        grade=_grade(by["grade"]) if "grade" in by else None,
        grade_space="ACEScct" if "grade" in by and by["grade"].space == "ACEScct" else "log",
        grade_order="after" if "grade" in by and by["grade"].space == "display" else "before",
        lut=_lut(lut, encoding, display, out) if lut else None,
        transform=_transform(by.get("transform"), order),
        display=display.name,
    )


def _grade(layer: Layer) -> GradeSpec:
    return GradeSpec(
        slope=_triple(layer.slope),
        offset=_triple(layer.offset),
        power=_triple(layer.power),
        saturation=layer.saturation,
        clamp=layer.clamp,
    )


def _lut(layer: Layer, encoding: Layer, display: Layer, out: Path) -> LutSpec:
    """The show LUT as it is kept by its digest. Spaces are stated where they are not the look's own, as in a recipe."""
    index = encoding.exposure_index
    working = working_encoding(find_encoding(encoding.name, exposure_index=index))
    own = working.name + (f" EI {working.exposure_index}" if working.exposure_index else "")
    return LutSpec(
        path=kept_lut(out, layer.digest),
        name=layer.name,
        digest=layer.digest,
        interpolation="trilinear" if layer.interpolation == "trilinear" else "tetrahedral",
        input="narrow" if layer.input_levels == "narrow" else "full",
        output="narrow" if layer.output_levels == "narrow" else "full",
        input_space="" if layer.input_space == own else layer.input_space,
        output_space="" if layer.output_space == display.name else layer.output_space,
        contains_grade=layer.contains_grade,
    )


def _transform(layer: Layer | None, order: Sequence[str]) -> Literal["aces2", "colorimetric", "none"]:
    if layer is None:
        return "aces2" if "show LUT" in order else "none"
    return "colorimetric" if layer.name == "colorimetric" else "aces2"


def _pair(values: Sequence[float]) -> tuple[float, float]:
    x, y = values
    return x, y


def _triple(values: Sequence[float]) -> tuple[float, float, float]:
    red, green, blue = values
    return red, green, blue
