"""`rushlight day` as a person types it."""

from __future__ import annotations

from pathlib import Path

from here import run
from pictures import numbered, write_movie


def test_new_says_what_it_found_and_what_is_missing(tmp_path: Path) -> None:
    (tmp_path / "cards").mkdir()
    write_movie(tmp_path / "cards/A001C001.mov", [numbered(0), numbered(1)], reel="A001")
    (tmp_path / "cards/B001C001.mov").write_bytes(b"junk")
    (tmp_path / "sound").mkdir()
    (tmp_path / "sound/T01.wav").write_bytes(b"RIFF")
    arguments = ("day", "new", tmp_path / "cards", "--to", tmp_path / "day.toml")
    code, said = run(*arguments)
    assert code == 0 and "camera A: 1 clip, prores" in said
    assert "sound:" in said and "not readable:" in said
    assert "still missing" in said and "the encoding of camera A (1 clip)" in said
    code, said = run(*arguments)
    assert code == 2 and "is there already" in said


def test_without_a_name_for_the_file(tmp_path: Path) -> None:
    code, said = run("day", "new", tmp_path)
    assert code == 2 and "--to" in said
