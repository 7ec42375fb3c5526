"""Looks of a clip beside the recipe's: named once, and none where nothing differs."""

from __future__ import annotations

import pytest

from rushlight.pipelines.errors import EncodingError, OptionError
from rushlight.pipelines.job.other_looks import other_looks, ungraded_notes
from rushlight.pipelines.job.spec import JobSpec, LookSpec, LutSpec, StillsSpec
from rushlight.pipelines.recipe.look_settings import OtherLook
from rushlight.pipelines.recipe.read_recipe import parse_recipe

BASE = LookSpec(encoding="ARRI LogC3/Wide Gamut 3")
P3 = BASE.model_copy(update={"display": "P3-D65"})


def output(name: str, *said: str) -> str:
    return f'[[output]]\nname = "{name}"\nmake = "movie"\ncodec = "prores-422"\n' + "".join(
        f"{s}\n" for s in said
    )


RECIPE = parse_recipe(
    output("a")
    + output("b", 'display = "P3-D65"')
    + output("c", 'look = "x"')
    + output("d", 'display = "Rec.709 BT.1886"')
    + output("flat", 'state = "log"')
    + '[looks.x]\ndisplay = "P3-D65"\n'
)


def made(other: OtherLook) -> LookSpec:
    return BASE.model_copy(update={"display": other.settings.display})


def test_looks_alike_are_one_and_the_recipe_s_is_not_named_again() -> None:
    looks, shows = other_looks(RECIPE, RECIPE.output, BASE, made)
    assert looks == {"display P3-D65": P3}
    assert shows == {"b": "display P3-D65", "c": "display P3-D65"}


def test_a_fault_names_the_output_that_it_is_of() -> None:
    def fails(other: OtherLook) -> LookSpec:
        raise EncodingError("is for SDR", key="encoding")

    with pytest.raises(EncodingError, match="output 'b': is for SDR") as found:
        other_looks(RECIPE, RECIPE.output, BASE, fails)
    assert found.value.key == "encoding"


def test_an_output_without_the_lut_that_has_the_grade_is_said_to_be_ungraded() -> None:
    lut = LutSpec(path="log/inputs/a.cube", name="a", digest="x", contains_grade=True)
    look = BASE.model_copy(update={"lut": lut})
    looks, shows = {"bare": P3, "lut": look}, {"b": "bare", "c": "lut"}
    assert ungraded_notes(RECIPE, looks, shows) == [
        "ungraded in b: the grade is in the recipe's LUT, which is not its own"
    ]
    assert ungraded_notes(RECIPE, {"lut": look}, {"c": "lut"}) == []


def test_a_job_whose_output_shows_a_look_that_it_has_not_is_damaged() -> None:
    output = StillsSpec(
        output="s", identity="0", folder="s", state="graded", look="x", width=128, height=72, stills=()
    )
    job = JobSpec.model_construct(look=BASE, looks={"p3": P3})
    with pytest.raises(OptionError, match="the job has no look 'x'") as found:
        job.look_of(output)
    assert found.value.key == "looks"
    assert job.look_of(output.model_copy(update={"look": "p3"})) is P3
    assert job.look_of(output.model_copy(update={"look": ""})) is BASE
    assert output.look_key == "graded x" and output.model_copy(update={"look": ""}).look_key == "graded"
