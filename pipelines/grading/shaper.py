"""Stretched light: what a lattice of light holds, and the curve after it that makes the display's signal of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import Display

__all__ = ["FLOOR", "OFFSET", "knots", "light_curve", "on_curve", "signal_of", "stretched"]

Array = NDArray[np.float64]

# Stretched light: (L + OFFSET)^(1/2.4) less its value at black, and its tangent below -OFFSET/2. Near black, where the
# display's signal is infinitely steep in light, it is nearly light itself, which folds there but does not shoot up.
OFFSET = 0.01
FLOOR = 2.0**-22  # stretched light of black; the curve after the lattice has PIECES an octave from here to 1
PIECES = 64


def stretched(light: Array) -> Array:
    """Stretched light of display light 0..1, any range; FLOOR at black, near 0.86 at 1."""
    bend = -OFFSET / 2
    slope = (bend + OFFSET) ** (1 / 2.4 - 1) / 2.4
    above = np.maximum(light + OFFSET, OFFSET / 2) ** (1 / 2.4)
    value = np.where(light > bend, above, above + slope * (light - bend))
    return np.asarray(value - OFFSET ** (1 / 2.4) + FLOOR)


def signal_of(display: Display, value: Array) -> Array:
    """The display's signal of stretched light: `stretched` undone, then the display's curve; below black, black."""
    return display.from_light(np.maximum(value - FLOOR + OFFSET ** (1 / 2.4), 0.0) ** 2.4 - OFFSET)


def knots() -> Array:
    """Stretched light at the points of the curve after a lattice: PIECES an octave, evenly spaced within it."""
    octaves = FLOOR * 2.0 ** np.arange(round(-np.log2(FLOOR)))
    return np.append((octaves[:, None] * (1 + np.arange(PIECES) / PIECES)).ravel(), 1.0)


def light_curve(display: Display) -> Array:
    """The display's signal at the `knots`: past light 1 straight on, so that a clip at 1 is sharp."""
    value = knots()
    light = np.maximum(value - FLOOR + OFFSET ** (1 / 2.4), 0.0) ** 2.4 - OFFSET
    slope = (1.0 - float(display.from_light(np.array(1 - 1e-4)))) / 1e-4
    return np.where(light > 1, 1 + slope * (light - 1), display.from_light(light))


def on_curve(curve: Array, value: Array) -> Array:
    """The signal 0..1 that a curve at the `knots` makes of stretched light, any shape and range but NaN."""
    bits = np.clip(value, FLOOR, 1 - 2.0**-53).view(np.int64)
    # The exponent and six bits more: the octave and the piece of it.
    base = (bits >> 46) - ((1023 + round(np.log2(FLOOR))) << 6)
    part = (bits & ((1 << 46) - 1)) * 2.0**-46
    low = curve[base]
    return np.clip(low + part * (curve[base + 1] - low), 0.0, 1.0)
