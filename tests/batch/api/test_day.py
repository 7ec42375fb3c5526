"""`rushlight day new`, from Python and as a command: what it found, what is still missing, and nothing twice."""

from __future__ import annotations

import json
from pathlib import Path

import rushlight
from here import run
from pictures import numbered, write_movie


def test_new(tmp_path: Path) -> None:
    (tmp_path / "cards").mkdir()
    write_movie(tmp_path / "cards/A001C001.mov", [numbered(0), numbered(1)], reel="A001")
    made = rushlight.day.new(tmp_path / "cards", to=tmp_path / "day.toml")
    assert made.file == tmp_path / "day.toml" and len(rushlight.plan(made.file).wrong) == 1
    code, said = run("day", "new", tmp_path / "cards", "--to", tmp_path / "other.toml", "--json")
    assert code == 0 and json.loads(said) == made.document() | {"file": str(tmp_path / "other.toml")}
