"""Recipes from TOML: from a text, a file, or one of those that ship. Every fault of a document is found in one reading."""

from __future__ import annotations

import difflib
from importlib import resources

from pydantic import BaseModel, ValidationError

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.clip_defaults import Changes, Default
from rushlight.pipelines.recipe.day_document import DayDocument
from rushlight.pipelines.recipe.model import (
    Area,
    Burnin,
    Frame,
    Guides,
    LookSettings,
    MovieOutput,
    Recipe,
    StillsOutput,
    TextLine,
)
from rushlight.pipelines.recipe.recipe_faults import codec_faults, unknown_names
from rushlight.pipelines.recipe.space_settings import Space
from rushlight.pipelines.recipe.tell_settings import Tell
from rushlight.pipelines.recipe.validation_messages import key_and_words
from rushlight.pipelines.text_files import is_kept, noted, read_text
from rushlight.pipelines.toml_files import read_toml

__all__ = ["load_recipe", "parse_day", "parse_defaults", "parse_recipe", "shipped_recipes"]


def parse_recipe(text: str, *, file: str = "") -> Recipe:
    """A recipe from TOML text. RecipeError naming every wrong key, one a line, where anything is wrong."""
    data = read_toml(text, file=file, error=RecipeError)
    try:
        recipe = Recipe.model_validate(data)
        faults = codec_faults(recipe)
    except ValidationError as error:
        details = error.errors()
        places = [d["loc"] for d in details]
        faults = [
            key_and_words(detail, data, _tables())
            for detail in details
            # a list of which every item is wrong is not "empty" as well
            if not (
                detail["type"] == "too_short"
                and any(p != detail["loc"] and p[: len(detail["loc"])] == detail["loc"] for p in places)
            )
        ] + unknown_names(data)
    if not faults:
        return recipe
    first, *rest = faults
    text = first[1] + "".join(f"\n{file}: {key}: {what}" for key, what in rest)
    raise RecipeError(text, file=file, key=first[0])


def parse_day(text: str, *, file: str = "") -> DayDocument:
    """A day document from TOML text. RecipeError naming every wrong key, one a line."""
    data = read_toml(text, file=file, error=RecipeError)
    try:
        return DayDocument.model_validate(data)
    except ValidationError as error:
        tables: dict[str, type[BaseModel]] = {
            "": DayDocument,
            "default": Default,
            "tell": Tell,
            "space": Space,
        }
        first, *rest = [key_and_words(detail, data, tables) for detail in error.errors()]
        text = first[1] + "".join(f"\n{file}: {key}: {what}" for key, what in rest)
        raise RecipeError(text, file=file, key=first[0]) from None


def parse_defaults(text: str, *, file: str = "") -> tuple[Default, ...]:
    """The `[[default]]` tables of a side file or of a day. RecipeError naming every wrong key, one a line, or where
    nothing at all is stated."""
    day = parse_day(text, file=file)
    if not day.default and not day.model_fields_set:
        raise RecipeError("is missing; it must be stated", file=file, key="default")
    return day.default


def _tables() -> dict[str, type[BaseModel]]:
    """The model of each table, by the name it has in a document."""
    return {
        "": Recipe,
        "look": LookSettings,
        "looks": LookSettings,
        "changes": Changes,
        "default": Default,
        "frame": Frame,
        "area": Area,
        "burnin": Burnin,
        "text": TextLine,
        "guides": Guides,
        "movie": MovieOutput,
        "stills": StillsOutput,
    }


def shipped_recipes() -> dict[str, str]:
    """Name -> TOML text of the recipes that ship, in order of name."""
    folder = resources.files("rushlight.configs.recipes")
    found = {
        p.name.removesuffix(".toml"): p.read_text("utf-8")
        for p in folder.iterdir()
        if p.name.endswith(".toml")
    }
    return dict(sorted(found.items()))


def load_recipe(name: str) -> tuple[Recipe, str, str]:
    """A shipped recipe by name, or one from a file. Returns the recipe, its TOML text and where it came from.

    RecipeError when there is neither, naming the nearest shipped one.
    """
    from pathlib import Path

    shipped = shipped_recipes()
    if name in shipped:
        text = noted(f"recipe {name}", lambda: shipped[name].encode()).decode()
        recipe = parse_recipe(text, file=f"{name} (shipped)")
        return (recipe if recipe.name else recipe.model_copy(update={"name": name})), text, ""
    path = Path(name)
    if not path.is_file() and not is_kept(path):
        near = difflib.get_close_matches(name, shipped, 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise RecipeError(
            f"there is no recipe {name!r}, neither a file nor one of {', '.join(shipped)}{hint}"
        )
    text = read_text(path, RecipeError)
    recipe = parse_recipe(text, file=name)
    return (recipe if recipe.name else recipe.model_copy(update={"name": path.stem})), text, str(path)
