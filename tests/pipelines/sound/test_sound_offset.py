"""Offsets of sound, in samples or frames."""

from fractions import Fraction

import pytest

from rushlight.pipelines.errors import InputError
from rushlight.pipelines.sound.sound_offset import parse_offset


@pytest.mark.parametrize(
    ("text", "samples"),
    [
        ("480 samples", 480),
        ("-1 sample", -1),
        ("2 frames", 3840),
        ("-0.5 frame", -960),
        ("+3frames", 5760),
        ("", 0),
    ],
)
def test_offsets_are_samples_or_frames(text: str, samples: int) -> None:
    assert parse_offset(text, Fraction(25)) == samples


def test_a_frame_is_as_long_as_it_is_delivered() -> None:
    assert parse_offset("1 frame", Fraction(30000, 1001)) == Fraction(8008, 5)


@pytest.mark.parametrize(
    "text", ["2", "2 seconds", "1e9 frames", "nan frames", "99999999999 samples", "9999999999 frames"]
)
def test_other_offsets_are_refused(text: str) -> None:
    with pytest.raises(InputError, match=r"samples or frames|more than a day"):
        parse_offset(text, Fraction(25))
