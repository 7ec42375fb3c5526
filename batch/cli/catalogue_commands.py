"""Commands that print what ships: recipes, encodings and schemas."""

from __future__ import annotations

import sys

from rushlight.batch.api import catalogue
from rushlight.batch.exit_codes import DONE
from rushlight.batch.terminal.console import say, say_json
from rushlight.batch.terminal.text_tables import print_table

__all__ = ["show_encodings", "show_recipes", "show_schema"]


def show_recipes(name: str, *, as_json: bool) -> int:
    """`rushlight recipes [NAME]`: the shipped recipes, or the text of one."""
    if name:
        recipe = catalogue.recipe(name)
        if as_json:
            say_json(recipe.settings())
        else:
            sys.stdout.write(recipe.text)
        return DONE
    recipes = catalogue.recipes()
    if as_json:
        say_json([each.document() for each in recipes])
    else:
        print_table(
            ["recipe", "outputs", "what for"],
            [[each.name, ", ".join(each.outputs), each.description] for each in recipes],
        )
    return DONE


def show_encodings(*, as_json: bool) -> int:
    """`rushlight encodings`: name, gamut, code of 18 % grey, levels, source."""
    encodings = catalogue.encodings()
    if as_json:
        say_json([each.document() for each in encodings])
        return DONE
    print_table(
        ["encoding", "grey", "levels", "source"],
        [
            [
                each.name,
                f"{each.grey:.1f}" if each.kind != "linear" else "linear",
                each.levels or "by tag",
                each.source,
            ]
            for each in encodings
        ],
    )
    say("encoding: curve/gamut; grey: the 10-bit code (of 1023) of 18 % reflectance;")
    say("levels: how the maker puts the curve into YCbCr files")
    return DONE


def show_schema(name: str, *, as_json: bool) -> int:
    """`rushlight schema [NAME]`: the published schemas, or one of them."""
    if name:
        say_json(catalogue.schema(name))
        return DONE
    schemas = catalogue.schemas()
    if as_json:
        say_json([each.document() for each in schemas])
    else:
        print_table(["schema", "what it describes"], [[each.name, each.description] for each in schemas])
    return DONE
