"""The recipe's schema, as an editor uses it: what ships holds, and a slip is found where it stands."""

from __future__ import annotations

import tomllib

import pytest
from jsonschema import Draft202012Validator

from rushlight.batch.schemas import find_schema, json_schema
from rushlight.pipelines.recipe.read_recipe import shipped_recipes
from rushlight.pipelines.recipe.starter import Answers, starter_recipe

CHECK = Draft202012Validator(json_schema(find_schema("recipe")))


@pytest.mark.parametrize("name", [*shipped_recipes(), "a new one"])
def test_a_recipe_that_ships_holds(name: str) -> None:
    text = shipped_recipes().get(name) or starter_recipe(Answers(lut="show.cube", watermark="x"))
    assert list(CHECK.iter_errors(tomllib.loads(text))) == []


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ('codec = "h264"', 'codec = "h265"'),
        ('size = "1280x720"', 'size = "720p"'),
        ("quality = 20", "quality = 99"),
        ('watermark = "VIEWING COPY"', "watermrk = 1"),
        ('at = "bottom"', 'at = "underneath"'),
    ],
)
def test_a_slip_is_found(right: str, wrong: str) -> None:
    text = shipped_recipes()["viewing"]
    assert right in text
    assert list(CHECK.iter_errors(tomllib.loads(text.replace(right, wrong))))
