"""Loudness against the figures of BS.1770 and EBU Tech 3341, and against FFmpeg's own meter."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from independent import FFMPEG
from rushlight.pipelines.measure.loudness import RATE, loudness

Array = np.ndarray


def sine(level: float, seconds: float, hertz: float = 1000.0, channels: int = 2) -> Array:
    """A sine whose peak is `level` dBFS, alike in all channels."""
    at = np.arange(round(seconds * RATE)) / RATE
    return np.tile(10 ** (level / 20) * np.sin(2 * np.pi * hertz * at), (channels, 1))


def test_a_full_scale_sine_in_one_channel() -> None:
    """BS.1770-5, annex 1: 0 dB FS, 997 Hz in the left, centre or right channel gives -3.01 LKFS."""
    assert loudness([sine(0, 5, 997.0, 1)]).integrated == pytest.approx(-3.01, abs=0.02)


# EBU Tech 3341 v4, table 1: cases 1 to 5, each within 0.1 LU (parts of dBFS and seconds, loudness).
CASES: list[tuple[list[tuple[float, float]], float]] = [
    ([(-23.0, 20)], -23.0),
    ([(-33.0, 20)], -33.0),
    ([(-36.0, 10), (-23.0, 60), (-36.0, 10)], -23.0),
    ([(-72.0, 10), (-36.0, 10), (-23.0, 60), (-36.0, 10), (-72.0, 10)], -23.0),
    ([(-26.0, 20), (-20.0, 20.1), (-26.0, 20)], -23.0),
]


@pytest.mark.parametrize(("parts", "wanted"), CASES)
def test_the_cases_of_tech_3341(parts: list[tuple[float, float]], wanted: float) -> None:
    assert loudness(sine(*part) for part in parts).integrated == pytest.approx(wanted, abs=0.1)


def test_time_is_in_tenths_of_a_second() -> None:
    found = loudness([sine(-23, 5)])
    assert (len(found.momentary), len(found.short_term)) == (47, 21)
    assert found.momentary[-1] == pytest.approx(-23, abs=0.1)
    assert found.short_term[-1] == pytest.approx(-23, abs=0.1)


def test_blocks_may_be_of_any_length() -> None:
    whole = sine(-20, 3.3)
    parts = np.split(whole, [1, 777, 40_000, 41_000, 100_001], axis=1)
    one, other = loudness([whole]), loudness(parts)
    assert other.integrated == pytest.approx(one.integrated, abs=1e-9)
    assert other.momentary == pytest.approx(one.momentary, abs=1e-9)


def test_surrounds_weigh_more_and_the_lfe_nothing() -> None:
    six = np.zeros((6, RATE * 2))
    one = sine(-20, 2, channels=1)[0]
    levels = []
    for channel in (0, 4, 3):
        six[:] = 0
        six[channel] = one
        levels.append(loudness([six]).integrated)
    assert levels[1] - levels[0] == pytest.approx(10 * np.log10(1.41), abs=1e-6)
    assert levels[2] == -np.inf


def test_true_peak_lies_between_the_samples() -> None:
    """A sine at a quarter of the rate, sampled 45 degrees beside its peaks, which are 3 dB higher (BS.1770-5, annex 2)."""
    at = np.arange(RATE)
    beside = np.sin(2 * np.pi * at / 4 + np.pi / 4)[None]
    assert 20 * np.log10(np.abs(beside).max()) == pytest.approx(-3.01, abs=0.01)
    assert loudness([beside]).true_peak == pytest.approx(0.0, abs=0.4)


@pytest.mark.parametrize("samples", [np.zeros((2, RATE)), np.full((2, RATE), np.nan), np.zeros((2, 0))])
def test_silence(samples: Array) -> None:
    found = loudness([samples])
    assert found.integrated == -np.inf and found.true_peak == -np.inf


def test_nothing_at_all_is_silence() -> None:
    assert loudness([]).integrated == -np.inf


def test_ffmpegs_meter_agrees(tmp_path: Path) -> None:
    random = np.random.default_rng(7)
    swell = np.abs(np.sin(np.arange(RATE * 12) / RATE))
    samples = np.clip(random.normal(0, 0.08, (2, RATE * 12)) * swell, -1, 1)
    wavfile.write(tmp_path / "noise.wav", RATE, (samples.T * 2**31).astype(np.int32))
    command = [
        FFMPEG,
        "-nostats",
        "-i",
        str(tmp_path / "noise.wav"),
        "-af",
        "ebur128=peak=true",
        "-f",
        "null",
        "-",
    ]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    summary = said[said.rindex("Summary:") :]
    found = loudness([samples])
    integrated = re.search(r"I: +(-?[\d.]+) LUFS", summary)
    peak = re.search(r"Peak: +(-?[\d.]+) dBFS", summary)
    assert integrated and found.integrated == pytest.approx(float(integrated[1]), abs=0.11)
    assert peak and found.true_peak == pytest.approx(float(peak[1]), abs=0.25)


def test_a_block_of_quieter_samples_can_have_the_true_peak() -> None:
    """Quieter blocks are passed over only where no sound of such samples could reach the peak so far."""
    at = np.arange(RATE)
    beside = np.sin(2 * np.pi * at / 4 + np.pi / 4)[None]  # samples of 0.71, peaks of 1
    loud = 0.8 * np.sin(2 * np.pi * 997 * at / RATE)[None]
    alone = loudness([beside]).true_peak
    assert loudness([loud, beside]).true_peak == pytest.approx(alone)
    assert alone > loudness([loud]).true_peak + 1


def test_peaks_are_those_of_each_tenth_of_a_second() -> None:
    samples = np.zeros((2, RATE))
    samples[1, RATE // 2] = -0.5
    found = loudness(np.split(samples, [7, 20_000], axis=1)).peaks
    assert len(found) == 10 and found[5] == pytest.approx(-6.02, abs=0.01)
    assert {level for k, level in enumerate(found) if k != 5} == {-np.inf}
