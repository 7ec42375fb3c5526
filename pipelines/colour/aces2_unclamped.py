"""ACES 2.0 output transforms without their last clip.

A lattice interpolates what goes on past black and white better than what stops there with a kink.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.aces2_math import by_parts, display_light
from rushlight.pipelines.colour.aces2_tables import transform_row
from rushlight.pipelines.colour.displays import Display
from rushlight.pipelines.colour.gamuts import AP1, P3_D65, REC709

__all__ = ["can_unclip", "unclipped"]

Array = NDArray[np.float64]


def can_unclip(display: Display) -> bool:
    """True if the display's ACES 2.0 transform is one that aces2_tables.py knows: SDR of 100 cd/m2 in its own
    primaries."""
    return not display.hdr and display.peak == 100 and display.gamut in (REC709, P3_D65)


def unclipped(ap0: ArrayLike, display: Display) -> Array:
    """Display-linear RGB (..., 3), 1 the peak, of ACES2065-1 scene-linear (..., 3): below 0 and above 1 where the
    display's signal would be clipped. First of all AP1 is clipped to 0..1024. NaN and infinities give black."""
    linear = np.asarray(ap0, np.float64)
    linear = np.where(np.isfinite(linear).all(-1, keepdims=True), linear, 0.0)
    ap1 = linear.reshape(-1, 3) @ np.linalg.inv(AP1.matrix_to_ap0()).T
    found = by_parts(display_light, ap1, transform_row(display.gamut))
    return np.nan_to_num(found, nan=0.0, posinf=0.0, neginf=0.0).reshape(linear.shape)
