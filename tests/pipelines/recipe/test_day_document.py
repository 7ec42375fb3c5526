"""A day document: what is wrong with one, by key; all of it at once."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.read_recipe import parse_day, parse_defaults


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ('prodution = "x"\n', "d.toml: prodution: there is no such key; did you mean 'production'?"),
        ('media = "cards"\nready_by = "25:00"\n', "ready_by: '25:00': takes a time of day"),
        ("recipes = []\n", "recipes: .*names none"),
        ('recipes = ["a/x.toml", "b/X.toml"]\n', "recipes: .*two of them have one name"),
        ('media = "' + "x" * 1001 + '"\n', "media: .*a name that no file has"),
        ('out = "a\\u0000b"\n', "out: .*a name that no file has"),
        ('media = [""]\n', "media: .*has an empty name"),
        ('[[default]]\ncamera = "A"\nlevels = "legal"\n', r"default\[0\].levels: 'legal' will not do"),
        ("day = 12\n[default\n", r"is not TOML: .*line 2"),
        ("day = 1.5\n", "day: 1.5 will not do"),
    ],
)
def test_what_is_wrong_is_named_by_its_key(text: str, wanted: str) -> None:
    with pytest.raises(RecipeError, match=wanted):
        parse_day(text, file="d.toml")


def test_all_that_is_wrong_is_said_at_once() -> None:
    with pytest.raises(RecipeError) as caught:
        parse_day('moedia = ["x"]\nready_by = "x"\nunit = 3\n', file="d.toml")
    assert all(key in str(caught.value) for key in ("moedia", "ready_by", "unit"))


@given(st.text(max_size=200))
def test_junk_is_a_clear_error_or_a_day(text: str) -> None:
    try:
        parse_day(text)
    except RecipeError:
        pass


def test_a_day_serves_as_a_file_of_defaults() -> None:
    text = 'production = "The Lamp Room"\nmedia = "cards"\n[[default]]\ncamera = "A"\nlevels = "full"\n'
    assert [each.levels for each in parse_defaults(text)] == ["full"]
    assert parse_day(text).media == ("cards",)
