"""Commands that print what ships: recipes, encodings and schemas."""

from __future__ import annotations

import sys
import tomllib
from typing import Any

from rushlight.batch.console import say, say_json
from rushlight.batch.records.schemas import SCHEMAS, find_schema, json_schema
from rushlight.batch.text_tables import print_table
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.read_recipe import parse_recipe, shipped_recipes

__all__ = ["show_encodings", "show_recipes", "show_schema"]


def show_recipes(name: str, *, as_json: bool) -> int:
    """`rushlight recipes [NAME]`: the shipped recipes, or the text of one."""
    recipes = shipped_recipes()
    if name:
        if name not in recipes:
            raise RecipeError(f"no recipe {name!r} ships; there are {', '.join(recipes)}")
        if as_json:
            say_json(tomllib.loads(recipes[name]))
        else:
            sys.stdout.write(recipes[name])
        return 0
    rows: list[dict[str, Any]] = [
        {"name": key, "outputs": [o.name for o in recipe.output], "description": recipe.description}
        for key, recipe in ((key, parse_recipe(text, file=key)) for key, text in recipes.items())
    ]
    if as_json:
        say_json(rows)
    else:
        print_table(
            ["recipe", "outputs", "what for"],
            [[r["name"], ", ".join(r["outputs"]), r["description"]] for r in rows],
        )
    return 0


def encoding_rows() -> list[dict[str, Any]]:
    """The encodings with the 10-bit codes of black, grey and white on the curve's own scale."""
    from rushlight.pipelines.colour.camera_encodings import encodings

    rows = []
    for encoding in encodings():
        black, grey, white = (float(v) for v in encoding.encode([0.0, 0.18, 0.9]))
        rows.append(
            {
                "name": encoding.name,
                "curve": encoding.curve,
                "gamut": encoding.gamut.name,
                "kind": encoding.kind,
                "black": round(black * 1023, 2),
                "grey": round(grey * 1023, 2),
                "white": round(white * 1023, 2),
                "levels": encoding.levels,
                "levels_source": encoding.levels_source,
                "adaptation": encoding.gamut.cat,
                "source": encoding.source,
            }
        )
    return rows


def show_encodings(*, as_json: bool) -> int:
    """`rushlight encodings`: name, gamut, code of 18 % grey, levels, source."""
    rows = encoding_rows()
    if as_json:
        say_json(rows)
        return 0
    print_table(
        ["encoding", "grey", "levels", "source"],
        [
            [
                r["name"],
                f"{r['grey']:.1f}" if r["kind"] != "linear" else "linear",
                r["levels"] or "by tag",
                r["source"],
            ]
            for r in rows
        ],
    )
    say("encoding: curve/gamut; grey: the 10-bit code (of 1023) of 18 % reflectance;")
    say("levels: how the maker puts the curve into YCbCr files")
    return 0


def show_schema(name: str, *, as_json: bool) -> int:
    """`rushlight schema [NAME]`: the published schemas, or one of them."""
    if name:
        say_json(json_schema(find_schema(name)))
        return 0
    rows = [{"name": each.name, "description": each.description} for each in SCHEMAS.values()]
    if as_json:
        say_json(rows)
    else:
        print_table(["schema", "what it describes"], [[r["name"], r["description"]] for r in rows])
    return 0
