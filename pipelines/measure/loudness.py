"""Loudness of sound over time and as a whole, and its true peak: ITU-R BS.1770-5.

Samples are (channels, n) at 48 kHz, full scale at 1. Channels weigh 1; the two surrounds of six (L R C LFE Ls Rs) 1.41 and their LFE
nothing (table 4). Loudness is in LUFS, -inf of silence; NaN counts as silence.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOMENTARY", "RATE", "SHORT_TERM", "STEP", "Loudness", "Meter", "loudness"]

RATE = 48_000
STEP = 0.1  # seconds between blocks of 400 ms: they overlap by 75 % (annex 1)
MOMENTARY, SHORT_TERM = 4, 30  # steps: 0.4 and 3 seconds
ABSOLUTE, RELATIVE = -70.0, -10.0  # gates, LUFS and LU
OVERSAMPLING = 4  # annex 2

# Annex 1, tables 1 and 2: the two stages of the K weighting at 48 kHz, as second-order sections.
K_WEIGHTING = (
    (1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585),
    (1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621),
)
Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Loudness:
    """Loudness in LUFS, true peak in dBTP. `momentary` and `short_term` are those of every tenth of a second, each of the time before
    it; they begin when their 0.4 and 3 seconds are full. `peaks` are those of the samples of each tenth of a second, in dBFS."""

    integrated: float
    momentary: tuple[float, ...]
    short_term: tuple[float, ...]
    true_peak: float
    peaks: tuple[float, ...]


class Meter:
    """Loudness of sound that comes in blocks (channels, n), one after the other."""

    def __init__(self) -> None:
        self._state: Array | None = None
        self._rest: Array | None = None  # weighted, and as it came
        self._steps: list[float] = []
        self._peaks: list[float] = []
        self._true_peak = 0.0

    def add(self, block: Array) -> None:
        """The next samples, full scale at 1."""
        from rushlight.pipelines.measure.biquads import filtered  # loads numba

        if not block.shape[1]:
            return
        samples = np.nan_to_num(np.asarray(block, np.float64), posinf=1.0, neginf=-1.0)
        if np.abs(samples).max() * _most_gain() > self._true_peak:  # quieter ones cannot reach it
            self._true_peak = max(self._true_peak, _peak(samples))
        sections = np.array(K_WEIGHTING)
        if self._state is None:
            self._state = np.zeros((len(sections), len(samples), 2))
        weighted = filtered(sections, self._state, samples)
        both = np.stack([weighted, samples])
        whole = both if self._rest is None else np.concatenate([self._rest, both], 2)
        size = round(RATE * STEP)
        full = whole.shape[2] // size * size
        steps = whole[:, :, :full].reshape(2, len(samples), -1, size)
        self._steps += list(_weights(len(samples)) @ np.square(steps[0]).mean(2))
        self._peaks += list(np.abs(steps[1]).max((0, 2), initial=0.0))
        self._rest = whole[:, :, full:]

    def found(self) -> Loudness:
        """Of all that came."""
        steps = np.array(self._steps)
        with np.errstate(divide="ignore"):
            peaks = 20 * np.log10(np.array(self._peaks))
        return Loudness(
            integrated=_integrated(steps),
            momentary=tuple(_level(_means(steps, MOMENTARY)).tolist()),
            short_term=tuple(_level(_means(steps, SHORT_TERM)).tolist()),
            true_peak=float(20 * np.log10(self._true_peak)) if self._true_peak > 0 else -np.inf,
            peaks=tuple(peaks.tolist()),
        )


def loudness(blocks: Iterable[Array]) -> Loudness:
    """Of sound that comes in blocks (channels, n), one after the other."""
    meter = Meter()
    for block in blocks:
        meter.add(block)
    return meter.found()


@cache
def _between() -> tuple[Array, ...]:
    """Taps of the filter of annex 2, of each of the samples made of one: a sinc in a Kaiser window, ten samples to either side.

    That of `scipy.signal.resample_poly`, which takes half a second to load.
    """
    half = 10 * OVERSAMPLING
    taps = np.sinc(np.arange(-half, half + 1) / OVERSAMPLING) * np.kaiser(2 * half + 1, 5.0)
    taps *= OVERSAMPLING / taps.sum()
    return tuple(taps[k::OVERSAMPLING] for k in range(OVERSAMPLING))


@cache
def _most_gain() -> float:
    """By how much the samples between can be louder than the loudest sample, whatever the sound: the filter's largest sum."""
    return max(float(np.abs(taps).sum()) for taps in _between())


def _weights(channels: int) -> Array:
    return np.array([1.0, 1.0, 1.0, 0.0, 1.41, 1.41]) if channels == 6 else np.ones(channels)


def _means(powers: Array, count: int) -> Array:
    if len(powers) < count:
        return np.zeros(0)
    return np.convolve(powers, np.full(count, 1 / count), "valid")


def _level(power: Array) -> Array:
    with np.errstate(divide="ignore"):
        found: Array = -0.691 + 10 * np.log10(np.maximum(power, 0.0))
    return found


def _integrated(powers: Array) -> float:
    """Gated as in annex 1: blocks above -70 LUFS, then those no more than 10 LU below the mean of these."""
    blocks = _means(powers, MOMENTARY)
    loud = blocks[_level(blocks) > ABSOLUTE]
    if not len(loud):
        return -np.inf
    gate = _level(loud.mean(keepdims=True))[0] + RELATIVE
    return float(_level(loud[_level(loud) > gate].mean(keepdims=True))[0])


def _peak(samples: Array) -> float:
    """The largest sample of four times as many: annex 2. Blocks are long against the filter, so that their ends do not matter."""
    count = samples.shape[1]
    made = (np.convolve(channel, taps)[10 : 10 + count] for channel in samples for taps in _between())
    return max(float(np.abs(each).max()) for each in made)
