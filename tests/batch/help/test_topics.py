"""Topics are the reference's own pages, all of them, as they are installed."""

from __future__ import annotations

from pathlib import Path

import pytest

from rushlight.batch.help.topics import topic, topics
from rushlight.pipelines.errors import OptionError

REFERENCE = Path(__file__).parents[3] / "docs" / "reference"


def test_every_page_of_the_reference_is_a_topic() -> None:
    assert {each.name for each in topics()} == {page.stem for page in REFERENCE.glob("*.md")} - {"README"}


@pytest.mark.parametrize("page", topics(), ids=lambda page: page.name)
def test_a_page_is_the_file_of_the_reference(page: object) -> None:
    from rushlight.batch.help.topics import Topic

    assert isinstance(page, Topic)
    written = (REFERENCE / f"{page.name}.md").read_text()
    assert page.text.splitlines()[0] == written.splitlines()[0]
    assert page.title and page.words
    assert "](" not in page.text, "a link leads nowhere at a terminal"


@pytest.mark.parametrize("name", ["burn-in", "Burn In", "BURN_IN"])
def test_names_are_taken_as_they_are_typed(name: str) -> None:
    assert topic(name).name == "burn-in"


@pytest.mark.parametrize(("name", "meant"), [("recipies", "recipes"), ("exit codez", "exit-codes")])
def test_the_nearest_is_named(name: str, meant: str) -> None:
    with pytest.raises(OptionError, match=f"did you mean {meant}"):
        topic(name)
