"""Faults of a recipe's looks: names of none, settings that do not go together, a LUT that is for SDR under an HDR display."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable

from pydantic import ValidationError

from rushlight.pipelines.errors import InputError
from rushlight.pipelines.recipe.look_settings import LookSettings
from rushlight.pipelines.recipe.model import MovieOutput, Recipe, StillsOutput

__all__ = ["look_faults", "transfer_of"]

Faults = list[tuple[str, str]]
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,63}")


def look_faults(recipe: Recipe) -> Faults:
    """Everything wrong with `look`, the tables `looks` and what outputs say of theirs, by key."""
    faults = _settings_faults(recipe.look, "look")
    folded = [name.casefold() for name in recipe.looks]
    for name, settings in recipe.looks.items():
        key = f"looks.{name}"
        if not _NAME.fullmatch(name):
            faults.append((key, "will not do for a name; letters, digits, space, - and _ will"))
        if folded.count(name.casefold()) > 1:
            faults.append((key, "two looks are called so, but for upper and lower case"))
        if name not in {output.look for output in recipe.output}:
            faults.append((key, f'no output shows it; one with `look = "{name}"` does'))
        faults += _settings_faults(settings, key)
    for index, output in enumerate(recipe.output):
        faults += [(f"output[{index}].{key}", text) for key, text in _output_faults(recipe, output)]
    return list(dict.fromkeys(faults))


def _settings_faults(settings: LookSettings, key: str) -> Faults:
    """Names of displays and encodings that there are none of."""
    from rushlight.pipelines.colour.camera_encodings import find_encoding
    from rushlight.pipelines.colour.displays import find_display
    from rushlight.pipelines.luts.cube_lut import lut_side
    from rushlight.pipelines.luts.lut_spaces import lut_output

    named: tuple[tuple[str, str, Callable[[str], object]], ...] = (
        ("display", settings.display, find_display),
        ("lut_input", lut_side(settings.lut_input)[0], find_encoding),
        ("lut_output", lut_side(settings.lut_output)[0], lut_output),
    )
    faults = []
    for name, text, find in named:
        try:
            _ = (text or name == "display") and find(text)
        except InputError as error:
            faults.append((f"{key}.{name}", error.text))
    return faults


def _output_faults(recipe: Recipe, output: MovieOutput | StillsOutput) -> Faults:
    from rushlight.pipelines.colour.displays import Display, find_display
    from rushlight.pipelines.luts.cube_lut import lut_side
    from rushlight.pipelines.luts.lut_spaces import lut_output

    stated = [key for key in ("look", "lut", "display") if getattr(output, key)]
    if not stated:
        return []
    key = stated[-1]
    if output.look and output.look not in recipe.looks:
        near = difflib.get_close_matches(output.look, recipe.looks, 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        return [("look", f"there is no table [looks.{output.look}]{hint}")]
    if output.state == "log":
        return [(key, "state log has no look")]
    if isinstance(output, StillsOutput) and set(output.kinds) == {"exr"}:
        return [(key, "exr holds scene light, which has no look")]
    try:
        found = recipe.look_of(output)
    except ValidationError as error:
        text = str(error.errors()[0].get("ctx", {}).get("error", error.errors()[0]["msg"]))
        return [(key, f"does not go with the recipe's look: {text}")]
    assert found is not None
    try:
        display = find_display(found.settings.display)
        made_for = lut_output(lut_side(found.settings.lut_output)[0] or found.lut_display)
    except InputError as error:
        return [("display", error.text)] if key == "display" else []  # else it is told where it stands
    if isinstance(made_for, Display) and found.settings.lut_named and display.hdr != made_for.hdr:
        text = (
            f"the show LUT {found.settings.show_lut!r} is for {made_for.name}, and no conversion to {display.name} is defined "
            'between SDR and HDR; `lut` takes one that is made for it, or "none" for ACES 2.0'
            + ("; or its table in `looks` states its lut_output" if "lut_output" in found.inherited else "")
        )
        return [(key, text)]
    return []


def transfer_of(recipe: Recipe, output: MovieOutput | StillsOutput) -> int:
    """Code point of H.273 for the transfer of what an output shows; 2, unspecified, of a log picture and where it cannot be told."""
    from rushlight.pipelines.colour.displays import find_display

    if output.state == "log":
        return 2
    try:
        other = recipe.look_of(output)
        return find_display((other.settings if other else recipe.look).display).transfer
    except (KeyError, ValidationError, InputError):
        return 2
