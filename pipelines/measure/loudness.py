"""Loudness of sound over time and as a whole, and its true peak: ITU-R BS.1770-5.

Samples are (channels, n) at 48 kHz, full scale at 1. Channels weigh 1; the two surrounds of six (L R C LFE Ls Rs) 1.41 and their LFE
nothing (table 4). Loudness is in LUFS, -inf of silence; NaN counts as silence.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["RATE", "STEP", "Loudness", "loudness"]

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
    it; they begin when their 0.4 and 3 seconds are full."""

    integrated: float
    momentary: tuple[float, ...]
    short_term: tuple[float, ...]
    true_peak: float


def loudness(blocks: Iterable[Array]) -> Loudness:
    """Of sound that comes in blocks (channels, n), one after the other."""
    from scipy.signal import sosfilt

    sections, state, rest = np.array(K_WEIGHTING), None, None
    steps: list[float] = []
    peak = 0.0
    size = round(RATE * STEP)
    for block in blocks:
        if not block.shape[1]:
            continue
        samples = np.nan_to_num(np.asarray(block, np.float64), posinf=1.0, neginf=-1.0)
        peak = max(peak, _peak(samples))
        if state is None:
            state = np.zeros((len(sections), len(samples), 2))
        weighted, state = sosfilt(sections, samples, axis=1, zi=state)
        whole = weighted if rest is None else np.concatenate([rest, weighted], 1)
        full = whole.shape[1] // size * size
        powers = np.square(whole[:, :full]).reshape(len(whole), -1, size).mean(2)
        steps += list(_weights(len(whole)) @ powers)
        rest = whole[:, full:]
    return Loudness(
        integrated=_integrated(np.array(steps)),
        momentary=tuple(_level(_means(np.array(steps), MOMENTARY)).tolist()),
        short_term=tuple(_level(_means(np.array(steps), SHORT_TERM)).tolist()),
        true_peak=float(20 * np.log10(peak)) if peak > 0 else -np.inf,
    )


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
    from scipy.signal import resample_poly

    return float(np.abs(resample_poly(samples, OVERSAMPLING, 1, axis=1)).max())
