"""Every key of a recipe has its words on the reference page."""

from __future__ import annotations

from rushlight.batch.recipe_words import recipe_words
from rushlight.pipelines.recipe.model import Burnin, LookSettings, MovieOutput, Recipe, StillsOutput


def test_every_key_has_words() -> None:
    words = recipe_words()
    for model in (Recipe, LookSettings, MovieOutput, StillsOutput, Burnin):
        assert {key for key in model.model_fields if not words[model.__name__].get(key)} == set(), model


def test_words_are_the_last_cell() -> None:
    assert recipe_words()["MovieOutput"]["codec"] == "what the pictures are encoded with"
