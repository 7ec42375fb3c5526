"""A picture as the bytes of a PNG, for pages that hold their pictures themselves: encoded in memory, nothing on a disk."""

from __future__ import annotations

from fractions import Fraction

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.outputs.stills import codes

__all__ = ["png_bytes"]


def png_bytes(rgb: NDArray[np.generic]) -> bytes:
    """PNG (W3C, third edition) of sRGB (h, w, 3), as codes of 8 bits or as 0..1 (clipped, rounded to even, NaN is 0). The same picture gives the same bytes."""
    picture = np.ascontiguousarray(rgb if rgb.dtype == np.uint8 else codes(rgb.astype(np.float64), "png8"))
    encoder = av.CodecContext.create("png", "w")
    assert isinstance(encoder, av.VideoCodecContext)
    encoder.height, encoder.width = picture.shape[:2]
    encoder.pix_fmt, encoder.time_base, encoder.thread_count = "rgb24", Fraction(1), 1
    frame = av.VideoFrame.from_ndarray(picture.view(np.uint8), format="rgb24")
    frame.pts = 0
    return b"".join(bytes(packet) for packet in [*encoder.encode(frame), *encoder.encode(None)])
