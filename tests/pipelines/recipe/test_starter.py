"""A recipe begun from answers holds as it is, and so does every line of it that is a comment."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.formats.codecs import CODECS
from rushlight.pipelines.recipe.read_recipe import parse_recipe
from rushlight.pipelines.recipe.starter import KINDS, NONE, Answers, starter_recipe


def test_the_answers_are_in_it() -> None:
    answers = Answers(
        description='For "review"',
        editorial="prores-lt",
        viewing="hevc",
        stills="jpeg, tiff16",
        size="2048x1080",
        watermark="FOR R\\EVIEW",
        lut="our show.cube",
        display="P3-D65",
    )
    recipe = parse_recipe(starter_recipe(answers))
    assert recipe.description == 'For "review"' and recipe.look.show_lut == "our show.cube"
    editorial, viewing, stills = recipe.output
    assert editorial.make == "movie" and editorial.codec == "prores-lt" and str(editorial.size) == "2048x1080"
    assert editorial.relinked
    assert viewing.make == "movie" and viewing.burnin and viewing.burnin.watermark == "FOR R\\EVIEW"
    assert viewing.burnin.watermark_opacity == 0.6
    assert stills.make == "stills" and stills.kinds == ("jpeg", "tiff16")


@pytest.mark.parametrize("codec", CODECS)
@pytest.mark.parametrize("key", ["editorial", "viewing"])
def test_every_codec_will_do(codec: str, key: str) -> None:
    recipe = parse_recipe(starter_recipe(replace(Answers(), size="1920x1080", **{key: codec})))
    assert [o.name for o in recipe.output] == ["editorial", "viewing", "stills"]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_still_will_do(kind: str) -> None:
    assert parse_recipe(starter_recipe(Answers(stills=kind))).output[-1].make == "stills"


@pytest.mark.parametrize("left_out", ["editorial", "viewing", "stills"])
def test_an_output_may_be_left_out(left_out: str) -> None:
    recipe = parse_recipe(starter_recipe(replace(Answers(), **{left_out: NONE})))
    assert len(recipe.output) == 2 and left_out not in {o.name for o in recipe.output}


def test_comments_are_keys_that_there_are() -> None:
    """Each line of settings that is a comment holds once its mark is taken away."""
    text = starter_recipe(Answers())
    lines = text.splitlines()
    keys = [k for k, line in enumerate(lines) if re.match(r"# \w+ = ", line)]
    assert len(keys) >= 8
    for k in keys:
        parse_recipe("\n".join([*lines[:k], lines[k].removeprefix("# "), *lines[k + 1 :]]))


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"editorial": "h265"}, "editorial: 'h265' is not known; there are prores-proxy"),
        ({"stills": "jpeg, gif"}, "stills: 'gif' is not known; there are jpeg"),
        ({"size": "big"}, "WIDTHxHEIGHT"),
        ({"display": "Rec.2084"}, "Rec.2084"),
        ({"editorial": NONE, "viewing": NONE, "stills": NONE}, "nothing is to be made"),
    ],
)
def test_an_answer_that_will_not_do(wrong: dict[str, str], told: str) -> None:
    with pytest.raises(RushlightError) as error:
        starter_recipe(replace(Answers(), **wrong))
    assert told in str(error.value)
