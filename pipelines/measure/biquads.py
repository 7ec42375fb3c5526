"""Biquads: a cascade of second-order recursive filters over sound that comes in blocks."""

from __future__ import annotations

import numba as nb
import numpy as np
from numpy.typing import NDArray

__all__ = ["filtered"]

Array = NDArray[np.float64]


@nb.njit(nogil=True, cache=True)
def _run(sections, state, samples, out):  # type: ignore[no-untyped-def]
    for channel in range(samples.shape[0]):
        for at in range(samples.shape[1]):
            value = samples[channel, at]
            for s in range(sections.shape[0]):
                made = sections[s, 0] * value + state[s, channel, 0]
                state[s, channel, 0] = sections[s, 1] * value - sections[s, 4] * made + state[s, channel, 1]
                state[s, channel, 1] = sections[s, 2] * value - sections[s, 5] * made
                value = made
            out[channel, at] = value


def filtered(sections: Array, state: Array, samples: Array) -> Array:
    """Samples (channels, n) through sections of (b0, b1, b2, 1, a1, a2), direct form II transposed. `state` (sections, channels, 2) is
    what the blocks before have left, zeros at first, and is written over."""
    if state.shape != (len(sections), len(samples), 2) or sections.shape[1:] != (
        6,
    ):  # compiled code does not look
        raise ValueError(
            f"filters of {sections.shape} with a state of {state.shape} for {len(samples)} channels"
        )
    samples = np.ascontiguousarray(samples)
    out = np.empty_like(samples)
    _run(sections, state, samples, out)
    return out
