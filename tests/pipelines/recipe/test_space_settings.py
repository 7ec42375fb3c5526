"""The `[space]` table: what it takes."""

from __future__ import annotations

import pytest

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.read_recipe import parse_day


def test_what_is_not_stated() -> None:
    found = parse_day('day = "12"').space
    assert (found.keep_revisions, found.older_than) == (2, None)
    found = parse_day("[space]\nkeep_revisions = 0\nolder_than = 30").space
    assert (found.keep_revisions, found.older_than) == (0, 30)


@pytest.mark.parametrize(
    "line",
    [
        *(
            "keep_revisions = -1",
            "keep_revisions = 2.5",
            "older_than = 0",
            'older_than = "30 days"',
            "keep = 1",
        ),
        *("keep_revisions = false", "keep_revisions = true", 'keep_revisions = "0"', "keep_revisions = 0.0"),
        *("older_than = true", "older_than = 30.0", "older_than = nan"),
    ],
)
def test_what_is_wrong_names_its_key(line: str) -> None:
    with pytest.raises(RecipeError, match=rf"space\.{line.partition(' ')[0]}"):
        parse_day(f"[space]\n{line}", file="day.toml")
