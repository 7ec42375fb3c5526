"""Linear timecode (LTC) on a sound track: SMPTE ST 12-1:2014, clauses 8 and 9, read forwards.

A frame is 80 bits in biphase mark: the level changes at the beginning of every bit, and in the middle of a 1. Its last sixteen
bits are the sync word 0011111111111101. The signal's level and polarity do not matter.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

__all__ = ["Heard", "ltc_frames", "start_timecode"]

BITS = 80
SYNC = (0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 1)
FLOOR = 0.02  # of full scale: a signal weaker than this is none
LEAST = 3  # frames that must agree
Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Heard:
    """A frame of LTC: the sample at which its first bit begins, and its address."""

    sample: float
    timecode: Timecode


def ltc_frames(sound: Array, rate: FrameRate, sample_rate: int) -> list[Heard]:
    """Every whole frame of LTC at `rate` in one channel (1-D, full scale at 1), in order. What is no LTC gives none."""
    edges = _edges(sound)
    bit = sample_rate / float(rate.fraction) / BITS
    bits, starts = _bits(edges, bit)
    found = []
    for end in range(BITS, len(bits) + 1):
        if tuple(bits[end - 16 : end]) == SYNC:
            frame = bits[end - BITS : end]
            if timecode := _address(frame, rate):
                found.append(Heard(sample=starts[end - BITS], timecode=timecode))
    return found


def start_timecode(sound: Array, rate: FrameRate, sample_rate: int) -> Timecode | None:
    """The timecode of a picture whose first frame begins with the first sample, to the nearest frame; None where no three
    frames of LTC agree on it."""
    heard = ltc_frames(sound, rate, sample_rate)
    if len(heard) < LEAST:
        return None
    a_frame = sample_rate / rate.fraction
    day = rate.day(drop=heard[0].timecode.drop)
    starts = [(h.timecode.frames - round(Fraction(h.sample) / a_frame)) % day for h in heard]
    best = Counter(starts).most_common(1)[0][0]
    if starts.count(best) < max(LEAST, len(starts) // 2):
        return None
    return Timecode(frames=best, rate=rate, drop=heard[starts.index(best)].timecode.drop)


def _edges(sound: Array) -> Array:
    """Where the signal goes through its middle, to a fraction of a sample; noise around it counts for nothing."""
    if not len(sound):
        return np.zeros(0)
    level = float(np.percentile(np.abs(sound), 90))
    if level < FLOOR:
        return np.zeros(0)
    side = np.where(sound > 0.3 * level, 1, np.where(sound < -0.3 * level, -1, 0))
    known = np.flatnonzero(side)
    changes = np.flatnonzero(side[known[1:]] != side[known[:-1]])
    before, after = known[changes], known[changes + 1]
    a, b = sound[before], sound[after]
    return before + (after - before) * a / (a - b)


def _bits(edges: Array, bit: float) -> tuple[list[int], list[float]]:
    """Bits with the place at which each begins; an interval that is neither a half nor a whole bit begins anew."""
    bits: list[int] = []
    starts: list[float] = []
    index = 0
    while index + 1 < len(edges):
        length = (edges[index + 1] - edges[index]) / bit
        if 0.75 <= length <= 1.4:
            bits.append(0)
            starts.append(float(edges[index]))
            index += 1
        elif (
            0.3 <= length < 0.75 and index + 2 < len(edges) and (edges[index + 2] - edges[index]) / bit <= 1.4
        ):
            bits.append(1)
            starts.append(float(edges[index]))
            index += 2
        else:
            bits.append(-1)  # no frame goes across it
            starts.append(float(edges[index]))
            index += 1
    return bits, starts


def _address(frame: Sequence[int], rate: FrameRate) -> Timecode | None:
    """The time address of a frame's bits; None where they are none."""
    if -1 in frame:
        return None

    def digits(units: int, tens: int, width: int) -> int:
        low = sum(frame[units + k] << k for k in range(4))
        return low + 10 * sum(frame[tens + k] << k for k in range(width))

    number, seconds, minutes, hours = digits(0, 8, 2), digits(16, 24, 3), digits(32, 40, 3), digits(48, 56, 2)
    mark = ";" if frame[10] and rate.can_drop else ":"
    try:
        return Timecode.parse(f"{hours:02}:{minutes:02}:{seconds:02}{mark}{number:02}", rate)
    except TimecodeError:
        return None
