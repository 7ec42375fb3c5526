"""Production sound heard against the camera's own, in a few windows of a clip: are the two in step? Nothing is moved by it."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.measure.sound_lag import HEARD_RATE, WINDOW, Heard, Window, heard_in, lag, peaks_of
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.originals.sound import SAMPLE_RATE, read_sound
from rushlight.pipelines.outputs.production_sound import Production
from rushlight.pipelines.sound.take_samples import played

__all__ = ["hear"]

MOST = 1.0  # seconds that are looked for either way
Array = NDArray[np.float64]


def hear(production: Production, facts: Facts, *, first: int, count: int, rate: Fraction) -> Heard:
    """By how many seconds the camera's sound is later than the production sound: at the start, middle and end of `count`
    frames from `first` of the original. A clip of less than two windows is heard in one."""
    frames = min(count, round(WINDOW * rate))
    places = dict.fromkeys((0, (count - frames) // 2, count - frames) if count >= 2 * frames else (0,))
    windows: list[Window] = []
    peaks: tuple[tuple[float, ...], ...] = ()
    for place in places:
        at = place * SAMPLE_RATE / rate
        samples = round(frames * SAMPLE_RATE / rate)
        start = production.start + round(at) * production.step
        blocks = played(production.take, start, production.step, samples)
        ours = _heard(block.mean(axis=0, keepdims=True) for block in blocks)[0]
        theirs, late = _told(ours, _heard(read_sound(facts, first + place, frames)))
        peaks = peaks or (peaks_of(ours), peaks_of(theirs))
        windows.append(Window(at=float(place / rate), lag=late))
    return heard_in(windows, peaks)


def _told(ours: Array, channels: Array) -> tuple[Array, float | None]:
    """The camera's sound, and by how much it is later: all of its channels together, else the first that tells alone, since
    timecode or a tone on one of them drowns the others."""
    together: Array = channels.mean(axis=0)
    for theirs in (together, *(channels if len(channels) > 1 else ())):
        if (late := lag(ours, theirs, MOST)) is not None:
            return theirs, late
    return together, None


def _heard(blocks: Iterable[NDArray[np.int32] | Array]) -> Array:
    """Each channel at the rate of hearing, full scale at 1."""
    from scipy.signal import resample_poly

    whole = np.concatenate([block / 2**31 for block in blocks], axis=1)
    found: Array = resample_poly(whole, 1, SAMPLE_RATE // HEARD_RATE, axis=1)
    return found
