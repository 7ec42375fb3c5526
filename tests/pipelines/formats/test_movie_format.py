"""A movie's format: its encoder's options are those of the codec table for its own values, and a wrong one is refused."""

from dataclasses import FrozenInstanceError, replace

import pytest

from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.formats.codecs import Tags, codec, encoder_options
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.timecode import FrameRate

TAGS = Tags(primaries=1, transfer=1, matrix=1)
FORMAT = MovieFormat(
    codec=codec("h264"),
    container="mp4",
    width=1280,
    height=720,
    rate=FrameRate.parse("24"),
    tags=TAGS,
    quality=18.0,
    preset="slow",
)


def test_options_are_the_codecs_for_these_values() -> None:
    wanted = encoder_options(
        codec("h264"),
        rate=FORMAT.rate,
        size=(1280, 720),
        tags=TAGS,
        quality=18.0,
        preset="slow",
        peak=None,
    )
    assert FORMAT.options() == wanted
    assert FORMAT.options()["preset"] == "slow"
    assert replace(FORMAT, quality=30.0).options() != wanted


def test_what_the_codec_does_not_take_is_refused() -> None:
    with pytest.raises(RecipeError):
        replace(FORMAT, codec=codec("prores-proxy"), preset="slow").options()


def test_it_is_one_value() -> None:
    assert replace(FORMAT) == FORMAT
    assert replace(FORMAT, width=1282) != FORMAT
    with pytest.raises(FrozenInstanceError):
        FORMAT.width = 1  # type: ignore[misc]
