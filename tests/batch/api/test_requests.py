"""Options by the command line's names: one value or several, None as not given, and what is not there is named."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from rushlight.batch.api.requests import Undone, paths_of, request_of, texts_of
from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.errors import ListError, OptionError


@pytest.fixture
def day(tmp_path: Path) -> Path:
    (tmp_path / "cards").mkdir()
    (tmp_path / "day.csv").write_text("clip\na.mov\n")
    return tmp_path / "day.csv"


def test_defaults_are_the_commands(day: Path) -> None:
    found = request_of(day, {})
    assert (found.recipe, found.media, found.only, found.encoding, found.replaced) == (
        "overnight",
        (),
        (),
        "",
        "keep",
    )
    given: Any = dict.fromkeys(("recipe", "media", "grades", "encoding", "levels", "rate", "only"))
    assert request_of(str(day), given) == found  # None is as not given


def test_one_value_or_several(day: Path) -> None:
    cards = day.parent / "cards"
    assert request_of(day, {"media": str(cards)}) == request_of(day, {"media": [cards]})
    assert paths_of(["a", Path("b")]) == (Path("a"), Path("b"))
    assert texts_of("clip=a") == ("clip=a",)
    assert texts_of(None) == paths_of(None) == ()


def test_what_is_not_there_is_named(day: Path) -> None:
    with pytest.raises(OptionError, match="no-such"):
        request_of(day, {"media": "no-such"})
    with pytest.raises(TypeError, match=r"there is no option medai; there are recipe, media"):
        request_of(day, {"medai": "x"})  # type: ignore[typeddict-unknown-key]


def test_a_row_that_was_not_made_says_where_it_stands() -> None:
    row = Row(file="day.csv", line=3, clip="a.mov", cells={})
    error = ListError("no such original")
    assert Undone.of(row, error) == Undone(clip="a.mov", error=error, file="day.csv", line=3)
