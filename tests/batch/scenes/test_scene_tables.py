"""Tables that come later: joined by name, what two say differently is neither's, and a wrong one costs no clip."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.scenes.scene_tables import SceneTables, read_scene_tables


def tables(place: Path, *texts: str) -> SceneTables:
    paths = []
    for number, text in enumerate(texts):
        paths.append(place / f"t{number}.csv")
        paths[-1].write_text(text)
    return read_scene_tables(paths)


def test_a_clip_is_told_by_its_name_without_folder_ending_and_case(tmp_path: Path) -> None:
    found = tables(tmp_path, "clip,scene,take,weather\nA001C001,12A,3,rain\na001_c002.MOV,12B,,\n")
    assert found.of("cards/A001/a001c001.mov") == {
        "scene": ("12A", f"{tmp_path}/t0.csv:2"),
        "take": ("3", f"{tmp_path}/t0.csv:2"),
        "weather": ("rain", f"{tmp_path}/t0.csv:2"),
    }
    assert found.of("A001C002_260504_R1AB.mov")["scene"][0] == "12B"
    assert found.of("A001C003") == {} and found.unused() == []
    assert found.columns == ("scene", "take", "weather")


def test_two_that_say_the_same_and_two_that_do_not(tmp_path: Path) -> None:
    found = tables(tmp_path, "clip;scene;take\nA001C001;12;1\n", "clip,scene,take\nA001C001,12,2\n")
    assert found.of("A001C001") == {"scene": ("12", f"{tmp_path}/t0.csv:2")}
    (warning,) = found.warnings
    assert "take '1'" in warning and "neither is used" in warning


def test_lines_that_fit_no_clip_are_said_once_a_table(tmp_path: Path) -> None:
    found = tables(tmp_path, "clip,scene\n" + "".join(f"X{n},1\n" for n in range(6)))
    found.of("A001C001")
    (warning,) = found.unused()
    assert "t0.csv: 6 lines fit no clip of this list: X0, X1, X2, X3 and 2 more" in warning


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("scene,take\n1,2\n", "has no column `clip`"),
        ("clip,scene,encoding\nA,1,LogC3\n", "states `encoding`, which is for a list"),
        ("clip,in\nA,1\n", "states `in`"),
        ("", "is empty"),
        ("clip,scene\0\n", "NUL"),
    ],
)
def test_a_wrong_table_is_a_warning_and_says_nothing(tmp_path: Path, text: str, wanted: str) -> None:
    found = tables(tmp_path, text)
    (warning,) = found.warnings
    assert wanted in warning and "t0.csv" in warning and "nothing is taken" in warning
    assert found.of("A") == {}


@given(st.text(max_size=200))
def test_junk_costs_no_clip(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.getbasetemp() / "junk.csv"
    path.write_text(text)
    assert isinstance(read_scene_tables([path]).of("A001C001"), dict)
