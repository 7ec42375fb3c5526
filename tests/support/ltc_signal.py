"""LTC (SMPTE ST 12-1) as a signal, made bit by bit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.formats.timecode import Timecode

__all__ = ["ltc"]

Array = NDArray[np.float64]
SYNC = (0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 1)


def frame_bits(timecode: Timecode) -> list[int]:
    hours, minutes, seconds, number = (int(part) for part in str(timecode).replace(";", ":").split(":"))
    bits = [0] * 80
    for value, units, tens, width in (
        (number, 0, 8, 2),
        (seconds, 16, 24, 3),
        (minutes, 32, 40, 3),
        (hours, 48, 56, 2),
    ):
        for k in range(4):
            bits[units + k] = value % 10 >> k & 1
        for k in range(width):
            bits[tens + k] = value // 10 >> k & 1
    bits[10] = int(timecode.drop)
    bits[64:] = SYNC
    return bits


def ltc(
    first: Timecode, frames: int, sample_rate: int = 48000, late: float = 0.0, speed: float = 1.0
) -> Array:
    """The signal of so many frames, `late` samples after the first sample."""
    half = sample_rate / float(first.rate.fraction) / 160 / speed
    levels, level = [], 1
    for k in range(frames):
        for bit in frame_bits(first + k):
            level = -level
            levels.append(level)
            level = -level if bit else level
            levels.append(level)
    at = (np.arange(round(frames * 160 * half)) - late) / half
    return 0.5 * np.array(levels)[np.clip(at.astype(int), 0, len(levels) - 1)].astype(float)
