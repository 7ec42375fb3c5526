"""Faults of a recipe: settings that codecs, containers, displays and encodings do not take, each with its
key."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rushlight.pipelines.errors import InputError
from rushlight.pipelines.recipe.look_faults import look_faults, transfer_of
from rushlight.pipelines.recipe.model import CARD_RULE, MovieOutput, Recipe
from rushlight.pipelines.recipe.name_template import name_fields

__all__ = ["codec_faults", "unknown_names"]


def unknown_names(data: Mapping[str, object]) -> list[tuple[str, str]]:
    """Names of codecs and displays that there are none of, in a document that has other faults."""
    from rushlight.pipelines.colour.displays import find_display
    from rushlight.pipelines.formats.codecs import codec

    look, looks, outputs = data.get("look"), data.get("looks"), data.get("output")
    named: list[tuple[str, object, Callable[[str], object]]] = []
    tables = {
        "look": look,
        **({f"looks.{k}": v for k, v in looks.items()} if isinstance(looks, dict) else {}),
    }
    for key, table in tables.items():
        if isinstance(table, dict):
            named.append((f"{key}.display", table.get("display"), find_display))
    for index, output in enumerate(outputs if isinstance(outputs, list) else ()):
        if isinstance(output, dict):
            named.append((f"output[{index}].codec", output.get("codec"), codec))
            named.append((f"output[{index}].display", output.get("display"), find_display))
    faults = []
    for key, name, find in named:
        try:
            _ = isinstance(name, str) and name and find(name)
        except InputError as error:
            faults.append((key, error.text))
    return faults


def _names_faults(recipe: Recipe) -> list[tuple[str, str]]:
    """Fields of a template that change from frame to frame, where a name is not a still's."""
    faults = []
    for index, output in enumerate(recipe.output):
        for name, text in (("path", output.path), ("file", output.file)):
            running = {"frame", "source_frame"} & set(name_fields(text) if text else ())
            if running and (name == "path" or isinstance(output, MovieOutput)):
                words = f"{{{min(running)}}} names a still; it goes into the `file` of stills"
                faults.append((f"output[{index}].{name}", words))
    return faults


def codec_faults(recipe: Recipe) -> list[tuple[str, str]]:
    """Settings that codecs, containers and displays do not take, by key."""
    from rushlight.pipelines.formats.codecs import codec, output_faults, transfer_tag_fault

    faults = _names_faults(recipe) + look_faults(recipe)
    for index, output in enumerate(recipe.output):
        key, transfer = f"output[{index}]", transfer_of(recipe, output)
        if not isinstance(output, MovieOutput):
            mute = [k for k in output.kinds if k not in ("png16", "exr")]
            if mute and transfer in (16, 18):
                words = f"{' and '.join(mute)} cannot say that a picture is PQ or HLG; png16 can, and exr is linear"
                faults.append((f"{key}.kinds", words))
            continue
        try:
            found = codec(output.codec)
        except InputError as error:
            faults.append((f"{key}.codec", error.text))
            continue
        wrong = output_faults(
            found,
            container=output.container,
            size=(output.size.width, output.size.height) if output.size else None,
            quality=output.quality,
            preset=output.preset,
            peak=output.peak,
            transfer=transfer,
        )
        faults += [(f"{key}.{name}", text) for name, text in wrong]
        if output.state == "log" and found.bits < 10:
            faults.append((f"{key}.state", f"log needs a 10-bit codec; {output.codec} has {found.bits} bits"))
        if output.camera_sound and (
            (output.container or found.containers[0]) == "mp4" or output.sound != "copy"
        ):
            words = (
                'is for MOV and MXF with sound = "copy": elsewhere there are no further tracks to keep it in'
            )
            faults.append((f"{key}.camera_sound", words))
        if output.transfer_tag is not None and (
            words := transfer_tag_fault(
                found,
                output.container or found.containers[0],
                tag=output.transfer_tag,
                transfer=transfer,
                state=output.state,
            )
        ):
            faults.append((f"{key}.transfer_tag", words))
        if output.card and output.relinked:
            faults.append((f"{key}.card", CARD_RULE))
        elif output.card and output.state == "log":
            faults.append((f"{key}.card", "a slate card needs a display; state log has none"))
    return faults
