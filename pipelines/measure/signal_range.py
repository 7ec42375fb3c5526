"""Signal range of a delivered picture: shares of its area that leave the tolerance of EBU R 103.

EBU R 103 v3.0 (2020), "Video signal tolerance in digital television systems": R'G'B' should lie from -5 % to 105 %, luma from -1 % to
103 %; an error counts only where it takes more than 1 % of the active picture, since filters and codecs overshoot. (Figures from memory
of the recommendation.) It speaks of SDR and of narrow levels; full-range codes cannot leave 0..100 % of a component, and are measured alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.formats.pixel_formats import PixelFormat
from rushlight.pipelines.measure.scopes import ycbcr

__all__ = ["AREA", "LUMA", "RGB", "SignalRange", "range_of_codes", "signal_range"]

RGB = (-0.05, 1.05)
LUMA = (-0.01, 1.03)
AREA = 0.01  # of the picture
ACROSS = 160  # pixels of a thinned picture


@dataclass(frozen=True, kw_only=True)
class SignalRange:
    """Lowest and highest luma and component of a picture, and the shares of its pixels outside the tolerance; 0 to 1."""

    lowest_luma: float
    highest_luma: float
    lowest: float
    highest: float
    luma_outside: float
    rgb_outside: float

    @property
    def outside(self) -> bool:
        """True if more of the picture than AREA leaves the tolerance."""
        return max(self.luma_outside, self.rgb_outside) > AREA


def signal_range(rgb: ArrayLike, matrix: int) -> SignalRange:
    """Of display R'G'B' (h, w, 3) of the active picture, as decoded and not clipped. A pixel with NaN is outside."""
    values = np.asarray(rgb, np.float64).reshape(-1, 3)
    luma = ycbcr(values, matrix)[:, 0]
    if np.isnan(values).all() or not len(values):
        return SignalRange(
            lowest_luma=0.0, highest_luma=0.0, lowest=0.0, highest=0.0, luma_outside=1.0, rgb_outside=1.0
        )
    inside = (luma >= LUMA[0]) & (luma <= LUMA[1])
    all_inside = ((values >= RGB[0]) & (values <= RGB[1])).all(-1)
    return SignalRange(
        lowest_luma=float(np.nanmin(luma)),
        highest_luma=float(np.nanmax(luma)),
        lowest=float(np.nanmin(values)),
        highest=float(np.nanmax(values)),
        luma_outside=float(1 - inside.mean()),
        rgb_outside=float(1 - all_inside.mean()),
    )


def range_of_codes(
    planes: Sequence[NDArray[np.generic]],
    pixel_format: PixelFormat,
    levels: str,
    matrix: int,
    picture: tuple[int, int, int, int],
) -> SignalRange:
    """Of a frame's planes as they go to the encoder, within its picture (x, y, width, height): a grid of some 160 x 90 of its pixels,
    which tells shares of its area to a tenth of a percent or so and takes a millisecond."""
    from rushlight.pipelines.measure.colour_tiles import display_rgb

    step = max(1, picture[2] // ACROSS)
    x, y, width, height = (size // step for size in picture)
    rgb = display_rgb(planes, pixel_format, levels, matrix, step)
    return signal_range(rgb[y : y + max(1, height), x : x + max(1, width)], matrix)
