"""What ships, by API: the commands' own rows, and one recipe or schema by its name."""

from __future__ import annotations

import json
import tomllib

import pytest

import rushlight
from here import run


def said(*arguments: str) -> object:
    code, text = run(*arguments, "--json")
    assert code == 0
    return json.loads(text)


def test_lists_are_what_the_commands_say(capfd: pytest.CaptureFixture[str]) -> None:
    found = (rushlight.recipes(), rushlight.encodings(), rushlight.schemas())
    assert capfd.readouterr() == ("", "")
    for rows, command in zip(found, ("recipes", "encodings", "schema"), strict=True):
        assert len(rows) > 5
        assert [each.document() for each in rows] == said(command)


def test_one_by_its_name() -> None:
    recipe = rushlight.recipe("overnight")
    assert recipe in rushlight.recipes()
    assert run("recipes", "overnight") == (0, recipe.text)
    assert said("recipes", "overnight") == recipe.settings() == tomllib.loads(recipe.text)
    assert said("schema", "event") == rushlight.schema("rushlight-event-1")
    with pytest.raises(rushlight.InputError, match=r"no recipe 'overnigth' ships; there are .*overnight"):
        rushlight.recipe("overnigth")
    with pytest.raises(rushlight.InputError, match="no-such"):
        rushlight.schema("no-such")


def test_an_encodings_codes_are_its_curves() -> None:
    """18 % grey of LogC3 (EI 800) is 400 of 1023 (published: 0.391)."""
    logc3 = next(each for each in rushlight.encodings() if each.curve == "LogC3")
    assert logc3.grey == pytest.approx(0.391 * 1023, abs=0.6)
    assert logc3.black < logc3.grey < logc3.white
