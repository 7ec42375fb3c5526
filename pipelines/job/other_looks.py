"""Looks of a clip beside the recipe's: those of outputs that state another look, show LUT or display.

A look that comes out as the recipe's own for a clip is the recipe's: nothing is named, and nothing is made twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from rushlight.pipelines.errors import InputError
from rushlight.pipelines.job.spec import LookSpec
from rushlight.pipelines.recipe.look_settings import OtherLook
from rushlight.pipelines.recipe.model import Output, Recipe

__all__ = ["inherited_notes", "other_looks", "ungraded_notes"]


def other_looks(
    recipe: Recipe, outputs: Iterable[Output], look: LookSpec, made: Callable[[OtherLook], LookSpec]
) -> tuple[dict[str, LookSpec], dict[str, str]]:
    """Looks of these outputs that are not `look`, by name, and the name of each output's. `made` gives a clip's look by its
    settings; the InputError that it raises is given the output's name."""
    names: dict[str, str] = {}
    looks: dict[str, LookSpec] = {}
    shows: dict[str, str] = {}
    for output in outputs:
        other = recipe.look_of(output)
        if other is None or output.state == "log":
            continue
        names = names or {_numbers(look): ""}
        try:
            spec = made(other)
        except InputError as error:
            text = f"output {output.name!r}: {error.text}"
            raise type(error)(text, file=error.file, line=error.line, key=error.key) from None
        if name := names.setdefault(_numbers(spec), other.name):
            looks.setdefault(name, spec)
            shows[output.name] = name
    return looks, shows


def inherited_notes(recipe: Recipe, looks: Mapping[str, LookSpec], shows: Mapping[str, str]) -> list[str]:
    """Outputs whose own LUT is taken by what the recipe says of its show LUT."""
    found = []
    for output in recipe.output:
        other = recipe.look_of(output) if output.name in shows else None
        lut = looks[shows[output.name]].lut if other else None
        if other and lut and other.inherited:
            words = ", ".join(f"{key} = {getattr(other.settings, key)}" for key in other.inherited)
            text = f"in {output.name}, LUT {lut.name!r} is read as the recipe's `look` says of LUTs ({words}); its table in `looks` may say otherwise"
            found.append(text)
    return found


def ungraded_notes(recipe: Recipe, looks: Mapping[str, LookSpec], shows: Mapping[str, str]) -> list[str]:
    """Of a clip whose grade is in the LUT of the recipe's look: outputs whose own look has no grade in it."""
    graded = {output.name for output in recipe.output if output.state == "graded"}
    bare = [
        n
        for n, name in shows.items()
        if n in graded and not ((lut := looks[name].lut) and lut.contains_grade)
    ]
    return [f"ungraded in {name}: the grade is in the recipe's LUT, which is not its own" for name in bare]


def _numbers(look: LookSpec) -> str:
    return str(look.identity())
