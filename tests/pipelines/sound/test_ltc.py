"""LTC as SMPTE ST 12-1 has it, made here bit by bit, heard again under noise, wow and any polarity."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ltc_signal import ltc
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.sound.ltc import ltc_frames, start_timecode

RATES = [
    ("24000/1001", False),
    ("24", False),
    ("25", False),
    ("30000/1001", False),
    ("30000/1001", True),
    ("30", False),
]


@pytest.mark.parametrize(("rate", "drop"), RATES)
@pytest.mark.parametrize("sample_rate", [48000, 96000])
def test_every_rate_is_read(rate: str, drop: bool, sample_rate: int) -> None:
    first = Timecode.parse(f"10:59:58{';' if drop else ':'}20", FrameRate.parse(rate))
    heard = ltc_frames(ltc(first, 50, sample_rate), first.rate, sample_rate)
    assert [h.timecode for h in heard] == [first + 1 + k for k in range(len(heard))] or heard[
        0
    ].timecode == first
    assert len(heard) >= 47 and start_timecode(ltc(first, 50, sample_rate), first.rate, sample_rate) == first


@settings(deadline=None, max_examples=40)
@given(
    frames=st.integers(0, 2_589_407),
    late=st.integers(-400, 400),
    noise=st.floats(0, 0.05),
    turned=st.booleans(),
    speed=st.floats(0.99, 1.01),
)
def test_under_noise_wow_and_turned_over(
    frames: int, late: int, noise: float, turned: bool, speed: float
) -> None:
    first = Timecode(frames=frames, rate=FrameRate(fraction=Fraction(30000, 1001)), drop=True)
    signal = (
        ltc(first, 12, late=late, speed=speed)
        + noise
        * np.random.default_rng(frames).standard_normal(round(12 * 1601.6 / speed))[
            : len(ltc(first, 12, speed=speed))
        ]
    )
    assert start_timecode(-signal if turned else signal, first.rate, 48000) == first


@pytest.mark.parametrize("kind", ["silence", "noise", "tone", "nothing", "one sample"])
def test_what_is_no_ltc_gives_none(kind: str) -> None:
    at = np.arange(48000)
    sound = {
        "silence": np.zeros(48000),
        "noise": np.random.default_rng(1).standard_normal(48000) * 0.2,
        "tone": 0.5 * np.sin(at * 0.26),
        "nothing": np.zeros(0),
        "one sample": np.ones(1),
    }[kind]
    assert start_timecode(sound, FrameRate.parse(25), 48000) is None


def test_addresses_that_do_not_exist_are_left_out() -> None:
    """LTC of 30 frames a second read as 24: frame numbers past 23 are no addresses there."""
    first = Timecode.parse("01:00:00:25", FrameRate.parse(30))
    assert start_timecode(ltc(first, 4), FrameRate.parse(24), 48000) is None
