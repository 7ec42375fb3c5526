"""Scene and take from names that spell both out, and from no others."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.scenes.scene_names import scene_in_name


@pytest.mark.parametrize(
    ("name", "scene", "take"),
    [
        ("Sc12A_Tk3", "12A", "3"),
        ("SC012A_TK03", "12A", "3"),
        ("Scene 41 Take 02", "41", "2"),
        ("lamp_sc7-tk11_wide", "7", "11"),
        ("A001_Sc101bTk1", "101B", "1"),
    ],
)
def test_both_are_spelt_out(name: str, scene: str, take: str) -> None:
    assert scene_in_name(name) == {"scene": scene, "take": take}


@pytest.mark.parametrize(
    "name",
    [
        *("A001C003", "A001_C003_260504_R1AB", "12A-3", "S012_T03", "41 2"),  # they may be anything
        *("disc12_tk3", "sc12", "tk3", "sc12_tk3_sc13_tk1", "sc12tk3b", "sc0_tk0", "sc12345_tk1"),
    ],
)
def test_what_is_not_spelt_out_is_left_alone(name: str) -> None:
    assert scene_in_name(name) == {}


@given(st.text(max_size=60))
def test_any_name_says_both_or_neither(name: str) -> None:
    assert set(scene_in_name(name)) in (set(), {"scene", "take"})
