"""The look of an output: each key the show's unless its own says otherwise, and the display that its LUT is for."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from rushlight.pipelines.recipe.look_settings import LookSettings, other_look
from rushlight.pipelines.recipe.read_recipe import parse_recipe

SHOW = LookSettings(show_lut="show.cube", lut_input="LogC3 narrow", exposure=0.5, size=33)
P3, PQ = "P3-D65", "PQ BT.2100"
LOOKS = {
    "producer": LookSettings(show_lut="warm.cube"),
    "hdr": LookSettings(show_lut="none", display=PQ),
    "wide": LookSettings(display=P3),
    "own": LookSettings(show_lut="p3.cube", display=P3),
    "after": LookSettings(grade_order="after"),
}


def test_an_output_that_says_nothing_shows_the_recipe_s() -> None:
    assert other_look(SHOW, LOOKS, look="", lut="", display="") is None


@pytest.mark.parametrize(
    ("said", "name", "changed", "own_lut", "lut_display"),
    [
        (("producer", "", ""), "producer", {"show_lut": "warm.cube"}, True, "Rec.709 BT.1886"),
        (("hdr", "", ""), "hdr", {"show_lut": "none", "display": PQ}, True, PQ),
        # a LUT is for the display that it was stated beside
        (("wide", "", ""), "wide", {"display": P3}, False, "Rec.709 BT.1886"),
        (("", "", P3), "display P3-D65", {"display": P3}, False, "Rec.709 BT.1886"),
        (
            ("producer", "", P3),
            "producer, display P3-D65",
            {"show_lut": "warm.cube", "display": P3},
            True,
            "Rec.709 BT.1886",
        ),
        (("own", "", ""), "own", {"show_lut": "p3.cube", "display": P3}, True, P3),
        (("own", "", "sRGB"), "own, display sRGB", {"show_lut": "p3.cube", "display": "sRGB"}, True, P3),
        (("wide", "b.cube", ""), "wide, lut b.cube", {"show_lut": "b.cube", "display": P3}, True, P3),
        (("", "b.cube", P3), "lut b.cube, display P3-D65", {"show_lut": "b.cube", "display": P3}, True, P3),
    ],
)
def test_what_an_output_says_lies_over_its_look_and_that_over_the_recipe_s(
    said: tuple[str, str, str], name: str, changed: dict[str, str], own_lut: bool, lut_display: str
) -> None:
    look, lut, display = said
    found = other_look(SHOW, LOOKS, look=look, lut=lut, display=display)
    assert found is not None
    assert (found.name, found.own_lut, found.lut_display) == (name, own_lut, lut_display)
    assert found.settings.model_dump() == SHOW.model_dump() | changed


@given(st.data())
def test_every_key_is_the_show_s_unless_it_is_stated(data: st.DataObject) -> None:
    values = {
        "display": st.sampled_from([P3, PQ]),
        "transform": st.sampled_from(["colorimetric", "none"]),
        "show_lut": st.sampled_from(["a.cube", "none"]),
        "lut_interpolation": st.just("trilinear"),
        "lut_output": st.just("P3-D65 narrow"),
        "lut_contains_grade": st.just(True),
        "clamp": st.just(False),
        "exposure": st.floats(-4, 4),
        "white_balance": st.just("5600K"),
        "printer_points": st.just("1 2 3"),
        "size": st.integers(17, 129),
    }
    stated = {
        k: data.draw(values[k]) for k in data.draw(st.lists(st.sampled_from(sorted(values)), unique=True))
    }
    found = other_look(SHOW, {"x": LookSettings.model_validate(stated)}, look="x", lut="", display="")
    assert found is not None and found.settings.model_dump() == SHOW.model_dump() | stated
    assert found.own_lut == ("show_lut" in stated)


def test_settings_that_do_not_go_with_the_recipe_s_are_refused() -> None:
    with pytest.raises(ValidationError, match="grade_space"):
        other_look(LookSettings(grade_space="ACEScct"), LOOKS, look="after", lut="", display="")


def test_no_lut_is_called_none() -> None:
    assert LookSettings(show_lut="None").lut_named == "" == LookSettings().lut_named
    assert SHOW.lut_named == "show.cube"


def test_a_recipe_s_digest_is_of_what_outputs_show_and_not_of_names() -> None:
    output = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "h264"\n'

    def digest(text: str) -> str:
        return parse_recipe(text).digest()

    named = digest(output + 'look = "x"\n[looks.x]\ndisplay = "P3-D65"\n')
    assert named == digest(output + 'look = "y"\n[looks.y]\ndisplay = "P3-D65"\n')
    assert named == digest(output + 'display = "P3-D65"\n')
    assert named != digest(output) != digest(output + 'lut = "x.cube"\n')


def test_what_the_recipe_says_of_luts_holds_for_another_and_is_counted() -> None:
    base = LookSettings(show_lut="show.cube", lut_input="LogC3", lut_contains_grade=True)

    def inherited(**said: str) -> tuple[str, ...]:
        looks = {
            "x": LookSettings(show_lut="x.cube", lut_input="full"),
            "none": LookSettings(show_lut="none"),
        }
        found = other_look(base, looks, **{"look": "", "lut": "", "display": "", **said})
        assert found is not None
        return found.inherited

    assert inherited(lut="own.cube") == ("lut_input", "lut_contains_grade")
    assert inherited(look="x") == ("lut_contains_grade",)
    assert inherited(look="none") == inherited(display=P3) == inherited(lut="none") == ()
