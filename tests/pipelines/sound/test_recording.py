"""Rates that sound files state in whole numbers."""

from fractions import Fraction

from rushlight.pipelines.sound.recording import exact_hertz


def test_what_47952_stands_for() -> None:
    assert exact_hertz(47952) == Fraction(48_000_000, 1001) and exact_hertz(48048) == 48048
    assert exact_hertz(95904) == Fraction(96_000_000, 1001) and exact_hertz(48000) == 48000
