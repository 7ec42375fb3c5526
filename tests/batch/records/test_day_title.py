"""A day's title in words, and as it is kept."""

import pytest

from rushlight.batch.records.day_title import NO_TITLE, DayTitle


@pytest.mark.parametrize(
    ("production", "day", "unit", "text"),
    [
        ("The Lamp Room", "12", "main", "The Lamp Room, day 12, main unit"),
        ("The Lamp Room", "Day 12", "Second Unit", "The Lamp Room, Day 12, Second Unit"),
        ("", "12 of 30", "", "day 12 of 30"),
        ("The Lamp Room", "", "", "The Lamp Room"),
        ("", "", "", ""),
    ],
)
def test_words(production: str, day: str, unit: str, text: str) -> None:
    title = DayTitle(production=production, day=day, unit=unit)
    assert title.text == text and bool(title) == bool(text)
    assert DayTitle.read(title.plain()) == title


def test_none_is_none() -> None:
    assert not NO_TITLE and DayTitle.read({}) == NO_TITLE
