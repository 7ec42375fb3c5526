"""A chart as a camera would have recorded it: the 24 patches and a ramp of exposure on grey, one frame of DPX."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.camera_encodings import Encoding
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.errors import from_os

__all__ = ["SIZE", "STOPS", "encoded", "write_chart"]

SIZE = (1920, 1080)
STOPS = 8  # either way of grey, over the ramp
ACROSS, DOWN = 6, 4
MARGIN, GAP, SIDE = (300, 60), 20, 200  # pixels: left and top, between patches, and a patch


def write_chart(path: Path, encoding: Encoding) -> None:
    """Write the frame, full levels, 10 bits. DeliveryError where it cannot be written."""
    import OpenImageIO as oiio

    width, height = SIZE
    light = np.full((height, width, 3), 0.18)
    for number, patch in enumerate(PATCHES.values()):
        row, column = divmod(number, ACROSS)
        top, left = MARGIN[1] + row * (SIDE + GAP), MARGIN[0] + column * (SIDE + GAP)
        light[top : top + SIDE, left : left + SIDE] = patch
    ramp = 0.18 * 2.0 ** np.linspace(-STOPS, STOPS, width)
    light[height - 140 : height - 60] = ramp[None, :, None]
    signal = encoded(light, encoding)
    out = oiio.ImageOutput.create(str(path))
    spec = oiio.ImageSpec(width, height, 3, oiio.UINT16)
    spec.attribute("oiio:BitsPerSample", 10)
    spec.attribute("dpx:FrameRate", 24.0)
    codes = np.rint(np.clip(np.nan_to_num(signal), 0, 1) * 65535).astype(np.uint16)
    if not (out and out.open(str(path), spec) and out.write_image(codes) and out.close()):
        raise from_os(OSError(5, (out.geterror() if out else "") or "cannot be written"), path)


def encoded(light: ArrayLike, encoding: Encoding) -> NDArray[np.float64]:
    """Signal (..., 3) of scene light (..., 3) in ACES2065-1."""
    if encoding.kind == "linear":
        found: NDArray[np.float64] = np.asarray(light) @ np.linalg.inv(encoding.matrix_to_ap0).T
        return found
    return encoding.from_ap0(light)
