"""Grades, lists and sound: taken up once they stand still, when their bytes change, and never planned without while they are away."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from rushlight.batch.watch.inputs import Inputs


@pytest.fixture
def grades(tmp_path: Path) -> Path:
    (tmp_path / "grades").mkdir()
    (tmp_path / "grades" / "a.cdl").write_text("one")
    return tmp_path / "grades"


def looked(inputs: Inputs, *paths: Path, times: tuple[float, ...]) -> list[bool]:
    return [inputs.look(paths, now) for now in times]


def test_what_is_there_at_first_is_no_change(grades: Path) -> None:
    inputs = Inputs(5)
    assert looked(inputs, grades, times=(0, 1, 10)) == [False] * 3 and inputs.settled


def test_one_that_comes_later_is_one_once_it_stands_still(grades: Path) -> None:
    inputs = Inputs(5)
    looked(inputs, grades, times=(0,))
    (grades / "b.cdl").write_text("two")
    assert inputs.look([grades], 1) is False and not inputs.settled
    (grades / "b.cdl").write_text("two, and more of it")
    assert looked(inputs, grades, times=(4, 8, 9, 10)) == [False, False, True, False] and inputs.settled


def test_a_path_that_is_not_there_yet_is_waited_for_without_a_word(tmp_path: Path, grades: Path) -> None:
    inputs = Inputs(0)
    late = tmp_path / "late.ccc"
    assert looked(inputs, grades, late, times=(0, 1)) == [False, False] and inputs.away == []
    late.write_text("x")
    assert inputs.look([grades, late], 2) is True


def test_saved_without_a_change_is_none(grades: Path) -> None:
    inputs = Inputs(0)
    looked(inputs, grades, times=(0,))
    os.utime(grades / "a.cdl", ns=(0, 10**18))
    assert looked(inputs, grades, times=(1, 2)) == [False, False]


def test_other_bytes_of_the_same_size_are_one(grades: Path) -> None:
    inputs = Inputs(0)
    looked(inputs, grades, times=(0,))
    (grades / "a.cdl").write_text("two")
    assert inputs.look([grades], 1) is True


def test_one_that_is_taken_away_is_a_change(grades: Path) -> None:
    (grades / "b.cdl").write_text("two")
    inputs = Inputs(0)
    looked(inputs, grades, times=(0,))
    (grades / "b.cdl").unlink()
    assert inputs.look([grades], 1) is True


@pytest.mark.parametrize("empty", [False, True])
def test_a_share_that_is_away_takes_no_grade_from_a_clip(grades: Path, empty: bool) -> None:
    """Gone, or the empty folder that it is mounted on."""
    inputs = Inputs(0)
    looked(inputs, grades, times=(0,))
    shutil.move(grades, grades.with_name("unplugged"))
    if empty:
        grades.mkdir()
    assert looked(inputs, grades, times=(1, 2)) == [False, False]
    assert inputs.away == [str(grades)] and not inputs.settled
    if empty:
        grades.rmdir()
    shutil.move(grades.with_name("unplugged"), grades)
    assert inputs.look([grades], 3) is False and inputs.away == [] and inputs.settled


def test_a_copy_that_is_not_finished_is_not_looked_at(grades: Path) -> None:
    inputs = Inputs(0)
    looked(inputs, grades, times=(0,))
    (grades / "b.cdl.part").write_text("tw")
    assert inputs.look([grades], 1) is False


def test_a_long_sound_file_is_told_by_its_ends(grades: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from rushlight.batch.watch import inputs as module

    monkeypatch.setattr(module, "WHOLE", 10)
    monkeypatch.setattr(module, "END", 4)
    inputs = Inputs(0)
    (grades / "a.wav").write_bytes(b"RIFF" + b"x" * 20 + b"end.")
    looked(inputs, grades, times=(0,))
    (grades / "a.wav").write_bytes(b"RIFF" + b"x" * 20 + b"END.")
    assert inputs.look([grades], 1) is True
