"""Exposure in false colours: stops of a scene's light from 18 % grey, in bands of one stop, on a scale of our own.

Bands grow lighter with exposure, blues below grey and browns to pale yellow above, so that they are in order for whoever sees no hues and in print; light
within a third of a stop of grey is plain grey, and what the encoding cannot hold is striped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.camera_encodings import Encoding

__all__ = ["BANDS", "GREY", "Band", "exposure_colours", "legend", "stops_of"]

Array = NDArray[np.float64]
LOWEST, HIGHEST = -7, 7  # stops; bands beyond go to the outermost
NEAR = 1 / 3  # of a stop: as good as grey
GREY = (0.5, 0.5, 0.5)
STRIPE = 8  # pixels
LUMINANCE = (0.3439664498, 0.7281660966, -0.0721325464)  # Y of ACES2065-1: SMPTE ST 2065-1:2021, section 5

# sRGB of the bands, lightness rising (CIE L* 10 to 92): dark blue to blue below grey, brown to pale yellow above.
_BELOW = ((0.05, 0.08, 0.30), (0.17, 0.22, 0.55), (0.33, 0.42, 0.74))
_ABOVE = ((0.66, 0.44, 0.18), (0.84, 0.66, 0.30), (0.98, 0.92, 0.55))


@dataclass(frozen=True, kw_only=True)
class Band:
    """A band of the scale: stops from `low` to `high`, and its sRGB."""

    low: float
    high: float
    rgb: tuple[float, float, float]


def _bands() -> tuple[Band, ...]:
    shades = [*_between(_BELOW, -LOWEST), *_between(_ABOVE, HIGHEST)]
    return tuple(Band(low=LOWEST + k, high=LOWEST + k + 1, rgb=rgb) for k, rgb in enumerate(shades))


def _between(anchors: Sequence[tuple[float, float, float]], count: int) -> list[tuple[float, float, float]]:
    places = np.linspace(0, len(anchors) - 1, count)
    red, green, blue = (
        np.interp(places, range(len(anchors)), channel) for channel in zip(*anchors, strict=True)
    )
    return list(zip(red.tolist(), green.tolist(), blue.tolist(), strict=True))


BANDS = _bands()


def stops_of(ap0: ArrayLike) -> Array:
    """Stops (...) of scene-linear ACES2065-1 (..., 3) from 18 % grey, by its luminance. No light, less and NaN are -inf."""
    values = np.asarray(ap0, np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        light = np.nan_to_num(values @ np.array(LUMINANCE), nan=0.0)
        found: Array = np.log2(np.maximum(light, 0.0) / 0.18)
    return found


def exposure_colours(signal: ArrayLike, encoding: Encoding) -> Array:
    """sRGB (h, w, 3) of a picture's signal (h, w, 3) in `encoding`. A pixel with a component at the end of the signal's range is
    striped: nothing is known of how bright it was."""
    values = np.asarray(signal, np.float64)
    stops = stops_of(encoding.to_ap0(values))
    colours = _coloured(stops)
    rows, columns = np.indices(stops.shape)
    stripe = np.where((rows + columns) // STRIPE % 2, 1.0, 0.15)
    clipped = (values >= 1.0).any(-1)
    colours[clipped] = stripe[clipped][:, None]
    return colours


def legend(height: int, width: int) -> Array:
    """The scale (h, w, 3): the bands from left to right, grey where grey is."""
    row = _coloured(np.linspace(LOWEST, HIGHEST, width, endpoint=False))
    return np.broadcast_to(row, (height, width, 3)).copy()


def _coloured(stops: Array) -> Array:
    place = np.clip(np.floor(np.nan_to_num(stops, neginf=LOWEST)) - LOWEST, 0, len(BANDS) - 1)
    colours: Array = np.array([band.rgb for band in BANDS])[place.astype(np.intp)]
    colours[np.abs(stops) <= NEAR] = GREY
    return colours
