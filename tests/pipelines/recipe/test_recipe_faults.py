"""Faults of a recipe: each of its own, by its key, all of one reading."""

import tomllib
from typing import Any

import pytest

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.read_recipe import parse_recipe
from rushlight.pipelines.recipe.recipe_faults import codec_faults, unknown_names

MOVIE = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "h264"\nsize = "320x180"\n'
STILLS = '[[output]]\nname = "a"\nmake = "stills"\nat = ["first"]\nkinds = ["jpeg"]\n'


def faults(text: str) -> str:
    with pytest.raises(RecipeError) as found:
        parse_recipe(text, file="r.toml")
    return str(found.value)


@pytest.mark.parametrize(
    ("text", "key", "says"),
    [
        (MOVIE + '[look]\ndisplay = "Rec.7090"\n', "look.display", "Rec.7090"),
        (MOVIE + '[look]\nlut_input = "LogC9"\n', "look.lut_input", "LogC9"),
        (MOVIE + '[look]\nlut_output = "Rec.7090"\n', "look.lut_output", "Rec.7090"),
        (MOVIE.replace("h264", "h265x"), "output[0].codec", "h265x"),
        (MOVIE + 'container = "mxf"\n', "output[0].container", "mxf"),
        (MOVIE + 'preset = "glacial"\n', "output[0].preset", "glacial"),
        (MOVIE + 'state = "log"\n', "output[0].state", "log needs a 10-bit codec; h264 has 8 bits"),
        (MOVIE + "camera_sound = true\n", "output[0].camera_sound", "is for MOV and MXF"),
        (
            MOVIE.replace('"h264"', '"prores-proxy"') + 'sound = "mix"\ncamera_sound = true\n',
            "output[0].camera_sound",
            'sound = "copy"',
        ),
        (MOVIE + "transfer_tag = 5\n", "output[0].transfer_tag", "1, 2, 4 or 13"),
        (
            MOVIE.replace("h264", "prores-422") + 'state = "log"\ntransfer_tag = 1\n',
            "output[0].transfer_tag",
            "stays unspecified",
        ),
        (
            MOVIE.replace("h264", "hevc-10") + 'transfer_tag = 1\n[look]\ndisplay = "PQ BT.2100"\n',
            "output[0].transfer_tag",
            "keeps its own tag",
        ),
        (
            MOVIE.replace("h264", "dnxhr-lb") + 'container = "mxf"\ntransfer_tag = 13\n',
            "output[0].transfer_tag",
            "no label for sRGB",
        ),
        ('sound_offset = "two"\n' + MOVIE, "sound_offset", "takes samples or frames"),
        ('sound = "boom"\n' + MOVIE, "sound", "production"),
        (MOVIE + "card = 24\n", "output[0].card", "a slate card moves the first timecode"),
        (
            MOVIE.replace('"h264"', '"prores-proxy"')
            + 'state = "log"\ncard = 24\n[output.burnin]\nwatermark = "x"\n',
            "output[0].card",
            "a slate card needs a display; state log has none",
        ),
        (
            STILLS + '[look]\ndisplay = "PQ BT.2100"\n',
            "output[0].kinds",
            "jpeg cannot say that a picture is PQ or HLG; png16 can",
        ),
    ],
)
def test_each_is_told_by_its_key(text: str, key: str, says: str) -> None:
    said = faults(text)
    assert f"{key}: " in said
    assert says in said


def test_a_good_recipe_has_none() -> None:
    assert codec_faults(parse_recipe(MOVIE + STILLS.replace('"a"', '"b"'), file="r.toml")) == []
    assert unknown_names(tomllib.loads(MOVIE)) == []


@pytest.mark.parametrize(
    ("document", "keys"),
    [
        ({"look": {"display": "x"}, "output": [{}, {"codec": "y"}]}, ["look.display", "output[1].codec"]),
        ({"look": "x", "output": "y"}, []),
        ({"look": {"display": 3}, "output": [{"codec": None}, 7]}, []),
        ({}, []),
    ],
)
def test_names_of_a_document_that_has_other_faults(document: dict[str, Any], keys: list[str]) -> None:
    """Whatever else it holds."""
    assert [key for key, _ in unknown_names(document)] == keys
