"""`rushlight recipes --new FILE`: a commented recipe to begin with, written once and never over a file that is there."""

from __future__ import annotations

from pathlib import Path

from rushlight.pipelines.errors import OptionError, from_os
from rushlight.pipelines.recipe.starter import Answers, starter_recipe

__all__ = ["Answers", "new_recipe"]


def new_recipe(file: str | Path, answers: Answers | None = None) -> str:
    """Write the recipe, and give its text. RecipeError naming an answer that will not do; OptionError where the file is there already."""
    path = Path(file)
    text = starter_recipe(answers or Answers(), file=str(path))
    try:
        with path.open("x", encoding="utf-8") as new:
            new.write(text)
    except FileExistsError:
        raise OptionError("is there already; name another file", file=str(path)) from None
    except OSError as error:
        raise from_os(error, path) from None
    return text
