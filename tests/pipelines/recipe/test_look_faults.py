"""Faults of a recipe's looks, each by its key."""

from __future__ import annotations

import pytest

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.look_faults import look_faults, transfer_of
from rushlight.pipelines.recipe.read_recipe import parse_recipe

MOVIE = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "h264"\nsize = "320x180"\n'
HEVC = MOVIE.replace("h264", "hevc-10").replace('"a"', '"b"')
STILLS = '[[output]]\nname = "s"\nmake = "stills"\nkinds = ["exr"]\n'
LUT = '[look]\nshow_lut = "show.cube"\n'
X = "[looks.x]\n"


@pytest.mark.parametrize(
    ("text", "key", "says"),
    [
        (
            MOVIE
            + 'look = "producr"\n[looks.producer]\n'
            + MOVIE.replace('"a"', '"c"')
            + 'look = "producer"\n',
            "output[0].look",
            "there is no table [looks.producr]; did you mean 'producer'?",
        ),
        (MOVIE + 'look = "x"\n', "output[0].look", "there is no table [looks.x]"),
        (MOVIE + X, "looks.x", 'no output shows it; one with `look = "x"` does'),
        (MOVIE + 'look = "x"\n' + X + 'display = "Rec.7090"\n', "looks.x.display", "Rec.7090"),
        (MOVIE + 'look = "x"\n' + X + 'lut_input = "LogC9"\n', "looks.x.lut_input", "LogC9"),
        (MOVIE + 'look = "x"\n' + X + 'lut_output = "P4"\n', "looks.x.lut_output", "P4"),
        (MOVIE + 'look = "x"\n' + X + 'dispaly = "sRGB"\n', "looks.x.dispaly", "did you mean 'display'?"),
        (MOVIE + 'look = "x"\n' + X + "size = 4\n", "looks.x.size", "4 will not do"),
        (MOVIE + 'look = "a/b"\n[looks."a/b"]\n', "looks.a/b", "will not do for a name"),
        (MOVIE + 'look = "x"\n[looks.x]\n[looks.X]\n', "looks.X", "two looks are called so"),
        (MOVIE + 'display = "P4"\n', "output[0].display", "'P4' is no display"),
        (
            '[looks.x]\ndisplay = "P5"\n' + MOVIE + 'look = "x"\ncodec_ = 1\n',
            "looks.x.display",
            "'P5' is no display",
        ),
        (MOVIE + 'display = "P4"\ncodec_ = 1\n', "output[0].display", "'P4' is no display"),
        (HEVC + 'state = "log"\nlut = "none"\n', "output[0].lut", "state log has no look"),
        (STILLS + 'display = "sRGB"\n', "output[0].display", "exr holds scene light, which has no look"),
        (
            '[look]\ngrade_space = "ACEScct"\n' + MOVIE + 'look = "x"\n' + X + 'grade_order = "after"\n',
            "output[0].look",
            "does not go with the recipe's look",
        ),
        # an SDR LUT under an HDR display, by which key it came about
        (
            LUT + HEVC + 'display = "PQ BT.2100"\n',
            "output[0].display",
            "'show.cube' is for Rec.709 BT.1886, and no conversion to PQ BT.2100",
        ),
        (
            LUT + HEVC + 'look = "x"\n' + X + 'display = "HLG BT.2100"\n',
            "output[0].look",
            "`lut` takes one that is made for it",
        ),
        (
            '[look]\ndisplay = "PQ BT.2100"\n'
            + HEVC
            + MOVIE
            + 'display = "sRGB"\nlut = "l.cube"\n[looks.x]\n',
            "looks.x",
            "no output",
        ),
        # a codec and a still that cannot say so
        (MOVIE + 'display = "PQ BT.2100"\n', "output[0].codec", "PQ"),
        (STILLS.replace("exr", "jpeg") + 'display = "HLG BT.2100"\n', "output[0].kinds", "jpeg cannot say"),
    ],
)
def test_each_is_told_by_its_key(text: str, key: str, says: str) -> None:
    with pytest.raises(RecipeError) as found:
        parse_recipe(text, file="r.toml")
    lines = [line for line in str(found.value).splitlines() if f"{key}: " in line]
    assert lines and says in lines[0], str(found.value)


@pytest.mark.parametrize(
    "text",
    [
        MOVIE,
        LUT + MOVIE + HEVC + 'display = "PQ BT.2100"\nlut = "none"\n',
        LUT + MOVIE + HEVC + 'display = "PQ BT.2100"\nlut = "hdr.cube"\n',
        LUT + MOVIE + HEVC + 'display = "P3-D65"\n',
        '[look]\ndisplay = "PQ BT.2100"\nshow_lut = "hdr.cube"\n'
        + HEVC
        + MOVIE
        + 'display = "sRGB"\nlut = "none"\n',
    ],
)
def test_sdr_and_hdr_beside_one_another_have_none(text: str) -> None:
    assert look_faults(parse_recipe(text)) == []


def test_a_codec_is_asked_for_the_display_of_its_own_output() -> None:
    recipe = parse_recipe(
        MOVIE + HEVC + 'display = "PQ BT.2100"\n' + HEVC.replace('"b"', '"flat"') + 'state = "log"\n'
    )
    assert [transfer_of(recipe, output) for output in recipe.output] == [1, 16, 2]
