"""A row and a recipe as a clip's ACES Metadata File has them: in which space its grade sits, what comes ahead of it and after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from rushlight.batch.decisions.aces_fit import Files, fitted
from rushlight.batch.decisions.decision import Decision
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.looks.corrections import corrections
from rushlight.pipelines.colour.camera_encodings import Encoding
from rushlight.pipelines.recipe.look_settings import LookSettings
from rushlight.pipelines.recipe.model import Recipe

__all__ = ["with_aces"]


def with_aces(
    decision: Decision, row: Row, recipe: Recipe, encoding: Encoding, files: Files
) -> tuple[Decision, Recipe, Mapping[str, str]]:
    """The decision with what is to be said of its ACES Metadata File, the recipe with its grade in the file's space, in every look,
    and cells that the row is to have as well. GradeError with both names where the file does not fit the
    clip, LutError where a look file cannot be read."""
    if decision.aces is None:
        return decision, recipe, {}
    video = encoding.kind == "video"
    lut = row["lut"] or ("" if video else recipe.look.show_lut)
    own = corrections(row, LookSettings() if video else recipe.look)
    fit = fitted(
        decision.aces,
        encoding,
        _settings(recipe),
        lut="" if lut.lower() == "none" else lut,
        stated=(own["exposure"], own["white_balance"]),
        files=files,
    )
    decision = replace(decision, warnings=(*decision.warnings, *fit.warnings))
    if not fit.grade_space:
        return decision, recipe, fit.cells
    space = {"grade_space": fit.grade_space}
    looks = {name: look.model_copy(update=space) for name, look in recipe.looks.items()}
    return (
        decision,
        recipe.model_copy(update={"look": recipe.look.model_copy(update=space), "looks": looks}),
        fit.cells,
    )


def _settings(recipe: Recipe) -> LookSettings:
    """The recipe's look; with a grade after the show transform where that of any output has it there."""
    orders = [look.settings.grade_order for output in recipe.output if (look := recipe.look_of(output))]
    return recipe.look.model_copy(update={"grade_order": "after"}) if "after" in orders else recipe.look
