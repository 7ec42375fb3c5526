"""Lag of one sound behind another of the same scene: two microphones, two recorders, one in the noise of a
camera.

Both are cut to the band of speech, brought to 8 kHz and correlated with their spectra whitened (the generalised cross-
correlation with phase transform of Knapp and Carter, IEEE Trans. ASSP-24(4), 1976), which finds a delay under noise and other
microphones, and leaves hum and steady tones without a say: those have no single place. A peak counts only where it stands far
out of the rest of the correlation and alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["HEARD_RATE", "WINDOW", "Heard", "Window", "drift_of", "heard_in", "lag", "peaks_of"]

WINDOW = 8  # seconds that are heard in one go
HEARD_RATE = 8000  # Hz at which two sounds are compared
BAND = (250.0, 3600.0)  # Hz
STANDS_OUT = (
    9.0  # standard deviations of the correlation's other values, of which one is 5.4 once in ten million
)
ALONE = 0.75  # a second peak higher than this share of the first makes the first no place
NEAR = 0.012  # seconds around a peak that are its own: echoes of a room
FAINT = 1e-4  # of a sound's strongest frequency: what is weaker has no say, such as the skirts of a tone
BROAD = 0.1  # share of the band's frequencies that must have a say
PEAKS = 320  # of a window: one a frame at 40
QUIET = 1e-5  # of full scale: silence
STILL = 1e-6  # of full scale, in the band: what no microphone is under
Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Window:
    """One window of a clip: where it begins (seconds from the clip's first frame), and by how many seconds the second sound is
    later in it; None where that cannot be told."""

    at: float
    lag: float | None


@dataclass(frozen=True, kw_only=True)
class Heard:
    """`offset`: seconds by which the second sound is later, the middle of all windows that tell; None where none does.
    `drift`: seconds that it grows from the first to the last of them; None with fewer than two. `peaks`: of both sounds over
    the first window, PEAKS each, as shares of its loudest."""

    windows: tuple[Window, ...]
    offset: float | None
    drift: float | None
    peaks: tuple[tuple[float, ...], ...] = ()


def lag(first: Array, second: Array, most: float, rate: int = HEARD_RATE) -> float | None:
    """Seconds by which `second` is later than `first` (both 1-D, at `rate`), up to `most` either way; None where it cannot
    be told: silence, a steady tone, hum, or two sounds that have nothing in common."""
    count = min(len(first), len(second))
    reach = int(most * rate)
    if count < 4 * rate // 10 or min(np.abs(first[:count]).max(), np.abs(second[:count]).max()) < QUIET:
        return None
    size = 1 << int(np.ceil(np.log2(2 * count)))
    window = np.hanning(count)
    spectra = [np.fft.rfft((x[:count] - x[:count].mean()) * window, size) for x in (first, second)]
    cross = spectra[1] * np.conj(spectra[0])
    frequencies = np.fft.rfftfreq(size, 1 / rate)
    inside = (frequencies >= BAND[0]) & (frequencies <= BAND[1])
    strength = np.abs(cross)
    heard = inside
    for spectrum in map(np.abs, spectra):
        if np.sqrt(2 * np.sum(spectrum[inside] ** 2) / size / count) < STILL:
            return None  # rumble or a drift of the zero line, and no sound
        heard = heard & (spectrum > FAINT * spectrum[inside].max(initial=0))
    if np.count_nonzero(heard) < BROAD * np.count_nonzero(inside):
        return None  # a tone, or hum: it repeats itself
    cross = np.where(heard, cross / np.maximum(strength, 1e-30), 0)
    found = np.fft.irfft(cross, size)
    values = np.concatenate([found[-reach:], found[: reach + 1]])
    best = int(np.argmax(values))
    near = int(NEAR * rate)
    others = np.concatenate([values[: max(0, best - near)], values[best + near + 1 :]])
    if not len(others) or values[best] <= 0:
        return None
    spread = float(np.std(others))
    if spread <= 0 or values[best] < STANDS_OUT * spread or others.max() > ALONE * values[best]:
        return None
    return (best - reach + _between(values, best)) / rate


def _between(values: Array, best: int) -> float:
    """Place of a peak between samples, by the parabola through it and its neighbours."""
    if not 0 < best < len(values) - 1:
        return 0.0
    left, middle, right = values[best - 1 : best + 2]
    curve = left - 2 * middle + right
    return float(0.5 * (left - right) / curve) if curve < 0 else 0.0


def peaks_of(sound: Array) -> tuple[float, ...]:
    """The loudest of each of PEAKS stretches of a sound (1-D), as a share of its loudest; all 0 of silence."""
    most = float(np.abs(sound).max(initial=0))
    parts = np.array_split(np.abs(sound), PEAKS)
    return tuple(round(float(part.max(initial=0)) / most, 3) if most > QUIET else 0.0 for part in parts)


def heard_in(windows: Sequence[Window], peaks: tuple[tuple[float, ...], ...] = ()) -> Heard:
    """Result of all windows of a clip together."""
    told = [(w.at, w.lag) for w in windows if w.lag is not None]
    offset = float(np.median([value for _, value in told])) if told else None
    return Heard(windows=tuple(windows), offset=offset, drift=drift_of(told), peaks=peaks)


def drift_of(told: Sequence[tuple[float, float]]) -> float | None:
    """Seconds by which the lag grows from the first to the last place; None of fewer than two."""
    return told[-1][1] - told[0][1] if len(told) > 1 else None
