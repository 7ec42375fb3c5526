"""An offset of sound as people write it: samples or frames by which it is moved later."""

from __future__ import annotations

import re
from fractions import Fraction

from rushlight.pipelines.errors import InputError
from rushlight.pipelines.originals.sound import SAMPLE_RATE

__all__ = ["parse_offset"]

MOST = 86400 * SAMPLE_RATE  # samples


def parse_offset(text: str, delivered: Fraction) -> Fraction:
    """`480 samples`, `-2 frames`, `+0.5 frame`: delivered samples at 48 kHz, frames as long as at `delivered` a second; 0 for
    empty text. InputError for anything else."""
    if not text.strip():
        return Fraction(0)
    match = re.fullmatch(r"([+-]?\d{1,10}(?:\.\d{1,6})?)\s*(samples?|frames?)", text.strip().lower())
    if not match:
        raise InputError(
            f"{text[:40]!r} will not do; takes samples or frames, such as -480 samples or 2 frames"
        )
    number = Fraction(match[1])
    moved = number * SAMPLE_RATE / delivered if match[2].startswith("frame") else number
    if abs(moved) > MOST:
        raise InputError(f"{text[:40]!r} is more than a day")
    return moved
