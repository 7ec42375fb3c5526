"""`rushlight recipes`: listed, printed, begun, checked."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from at_terminal import at_a_terminal
from rushlight.batch.cli.main import cli


def recipes(*words: object) -> Result:
    return CliRunner().invoke(cli, ["recipes", *map(str, words)])


def test_listed_and_printed() -> None:
    assert "overnight" in recipes().output
    assert tomllib.loads(recipes("overnight").output)["output"]


def test_begun_from_options_without_a_question(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    answer = recipes("--new", file, "--stills", "none", "--watermark", "FOR REVIEW")
    assert answer.exit_code == 0, answer.output
    made = tomllib.loads(file.read_text())
    assert [o["name"] for o in made["output"]] == ["editorial", "viewing"]
    assert made["output"][1]["burnin"]["watermark"] == "FOR REVIEW"
    checked = recipes("--check", file)
    assert checked.exit_code == 0 and "dnxhr-lb mov" in checked.output


def test_a_wrong_answer_is_told_by_its_key(tmp_path: Path) -> None:
    answer = recipes("--new", tmp_path / "ours.toml", "--viewing", "h265")
    assert answer.exit_code == 2 and "viewing: 'h265' is not known" in answer.output


def test_at_a_terminal_it_asks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def prompt(words: str, default: str) -> str:
        asked.append(words)
        return "none" if "editorial" in words and "Codec" in words else default

    monkeypatch.setattr("rushlight.batch.cli.recipes_command.is_terminal", lambda stream: True)
    monkeypatch.setattr("click.prompt", prompt)
    file = tmp_path / "ours.toml"
    assert recipes("--new", file).exit_code == 0
    assert len(asked) == 8 and "editorial" not in {
        o["name"] for o in tomllib.loads(file.read_text())["output"]
    }


def test_a_recipe_that_does_not_hold_is_told_with_every_key(tmp_path: Path) -> None:
    file = tmp_path / "wrong.toml"
    file.write_text('colour = 1\n[[output]]\nname = "a"\nmake = "movie"\ncodec = "h265"\n')
    code, text = at_a_terminal("recipes", "--check", file)
    assert code == 2 and "colour" in text and "output[0].codec" in text


def test_a_check_as_a_document() -> None:
    document = json.loads(recipes("--check", "viewing", "--json").output)
    assert document["outputs"][0]["what"] == "h264 mp4" and document["frames"] == []
