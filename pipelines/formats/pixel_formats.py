"""Pixel formats: which planes a frame has, and numpy views of them.

Names are FFmpeg's. Planes come in the order Y, Cb, Cr or R, G, B, whatever the order in memory; a fourth
(alpha) plane is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import av
import numpy as np
from numpy.typing import NDArray

__all__ = ["PixelFormat", "find_pixel_format", "new_frame", "planes", "whole_rows"]


@dataclass(frozen=True, kw_only=True)
class PixelFormat:
    """One planar pixel format. `bits` is of the code value; `sub_x`, `sub_y` are chroma subsampling factors."""

    name: str
    family: Literal["ycbcr", "rgb"]
    bits: int  # significant bits of an integer sample; 32 for float
    sub_x: int = 1
    sub_y: int = 1
    full_by_name: bool = False  # the yuvj formats, whose name states full levels

    @property
    def is_float(self) -> bool:
        return self.bits == 32

    @property
    def sampling(self) -> str:
        """Of Y'CbCr, as the trade writes it: 4:2:2."""
        return {(1, 1): "4:4:4", (2, 1): "4:2:2", (2, 2): "4:2:0"}[self.sub_x, self.sub_y]

    @property
    def dtype(self) -> np.dtype[np.generic]:
        return np.dtype(np.float32 if self.is_float else np.uint8 if self.bits == 8 else "<u2")

    @property
    def order(self) -> tuple[int, int, int]:
        """Memory planes of Y, Cb, Cr or of R, G, B (FFmpeg stores G, B, R)."""
        return (2, 0, 1) if self.family == "rgb" else (0, 1, 2)


def _table() -> dict[str, PixelFormat]:
    found: dict[str, PixelFormat] = {}
    for name, sub_x, sub_y in (("420", 2, 2), ("422", 2, 1), ("444", 1, 1)):
        for bits in (8, 10, 12, 16):
            tail = "p" if bits == 8 else f"p{bits}le"
            for kind in ("yuv", "yuva"):
                key = f"{kind}{name}{tail}"
                found[key] = PixelFormat(name=key, family="ycbcr", bits=bits, sub_x=sub_x, sub_y=sub_y)
        key = f"yuvj{name}p"
        found[key] = PixelFormat(
            name=key, family="ycbcr", bits=8, sub_x=sub_x, sub_y=sub_y, full_by_name=True
        )
    for bits in (8, 10, 12, 16, 32):
        tail = "" if bits == 8 else "f32le" if bits == 32 else f"{bits}le"
        for kind in ("gbrp", "gbrap"):
            key = f"{kind}{tail}"
            found[key] = PixelFormat(name=key, family="rgb", bits=bits)
    return found


_FORMATS = _table()


def find_pixel_format(name: str) -> PixelFormat | None:
    """The format of that FFmpeg name, or None where we do not work in it (packed, paletted, bit streams)."""
    return _FORMATS.get(name)


def planes(frame: av.VideoFrame) -> list[NDArray[np.generic]]:
    """Writable (height, width) views of the three planes, Y Cb Cr or R G B, row padding cut off."""
    pixel_format = _FORMATS[frame.format.name]
    views = []
    for index in pixel_format.order:
        plane = frame.planes[index]
        samples = np.frombuffer(memoryview(plane), pixel_format.dtype)
        row = plane.line_size // pixel_format.dtype.itemsize
        views.append(samples[: row * plane.height].reshape(plane.height, row)[:, : plane.width])
    return views


def whole_rows(views: Sequence[NDArray[np.generic]]) -> list[NDArray[np.generic]]:
    """Views of planes that take in the padding of their rows: contiguous, and quicker to write to."""
    return [
        np.lib.stride_tricks.as_strided(p, (p.shape[0], p.strides[0] // p.itemsize), p.strides) for p in views
    ]


def new_frame(pixel_format: PixelFormat, width: int, height: int) -> av.VideoFrame:
    """A frame of that size. Its samples are not initialised: write every one."""
    return av.VideoFrame(width, height, pixel_format.name)
