"""A new recipe is written once, and never over a file."""

from __future__ import annotations

from pathlib import Path

import pytest

from rushlight.batch.api.new_recipe import Answers, new_recipe
from rushlight.pipelines.errors import RushlightError


def test_it_is_written_whole(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    text = new_recipe(file)
    assert file.read_text() == text and "[[output]]" in text


def test_a_file_that_is_there_stays(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    file.write_text("mine")
    with pytest.raises(RushlightError, match=r"ours\.toml: is there already"):
        new_recipe(file)
    assert file.read_text() == "mine"


def test_nothing_is_written_of_a_wrong_answer(tmp_path: Path) -> None:
    with pytest.raises(RushlightError):
        new_recipe(tmp_path / "ours.toml", Answers(editorial="x"))
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(RushlightError, match=r"[Nn]o such (file|folder)"):
        new_recipe(tmp_path / "gone" / "ours.toml")
