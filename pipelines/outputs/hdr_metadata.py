"""HDR10 static metadata: what the brightest pictures are, measured, and how a movie says so.

Sources: SMPTE ST 2086:2018 (mastering display), CTA-861.3-A (MaxCLL, MaxFALL), ITU-T H.265 D.2.28 and D.2.35 with
7.3.2.4 (the SEI messages), ISO/IEC 14496-12 (`mdcv` and `clli` boxes; clause from memory).
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import Display, luma_weights, pq_decode
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, planes

__all__ = ["HdrMetadata", "hdr_metadata", "light_of", "metadata_boxes", "states_light", "with_metadata"]


@dataclass(frozen=True, kw_only=True)
class HdrMetadata:
    """A mastering display and the light of a programme. Chromaticities are CIE 1931 x, y; light is in cd/m2."""

    red: tuple[float, float]
    green: tuple[float, float]
    blue: tuple[float, float]
    white: tuple[float, float]
    darkest: float
    brightest: float
    max_cll: int  # the brightest pixel's largest component
    max_fall: int  # the brightest picture's mean of them


def states_light(codec: str, transfer: int) -> bool:
    """True if a movie carries MaxCLL and MaxFALL: PQ in HEVC; HLG is relative to its display (BT.2100)."""
    return transfer == 16 and codec.startswith("hevc")


def hdr_metadata(
    display: Display, light: Iterable[tuple[float, float]], *, darkest: float = 0.0001
) -> HdrMetadata:
    """Metadata of a programme whose pictures have the given light (as `light_of` measures it), made for `display`."""
    measured = list(light)
    return HdrMetadata(
        red=display.gamut.red,
        green=display.gamut.green,
        blue=display.gamut.blue,
        white=display.gamut.white,
        darkest=darkest,
        brightest=float(display.peak),
        max_cll=min(65535, round(max((most for most, _ in measured), default=0.0))),
        max_fall=min(65535, round(max((mean for _, mean in measured), default=0.0))),
    )


@cache
def _pq_table() -> NDArray[np.float64]:
    return pq_decode(np.arange(4096) / 4095.0)


def light_of(
    frame: av.VideoFrame, *, matrix: int = 9, box: tuple[int, int, int, int] | None = None
) -> tuple[float, float]:
    """The largest max(R, G, B) of a narrow-range PQ Y'CbCr 4:4:4 picture, and its mean, in cd/m2 (CTA-861.3-A, annex P).

    Only of `box` (x, y, width, height): the active picture, without padding. Before chroma is subsampled, since at sharp
    saturated edges subsampled chroma and luma meet at more light than the grade had. The mean is read at 12 bits.
    """
    pixel_format = find_pixel_format(frame.format.name)
    assert pixel_format is not None and pixel_format.family == "ycbcr" and not pixel_format.is_float
    assert (pixel_format.sub_x, pixel_format.sub_y) == (1, 1)
    unit = 2.0 ** (pixel_format.bits - 8)
    x, y, width, height = box or (0, 0, frame.width, frame.height)
    luma, blue, red = (plane[y : y + height, x : x + width].astype(np.float32) for plane in planes(frame))
    signal = (luma / unit - 16) / 219
    kr, kb = luma_weights(matrix)
    cb, cr = (blue / unit - 128) / 224, (red / unit - 128) / 224
    wanted = (
        2 * (1 - kr) * cr,
        -2 * ((1 - kb) * kb * cb + (1 - kr) * kr * cr) / (1 - kr - kb),
        2 * (1 - kb) * cb,
    )
    # The largest of R, G and B, from the largest less the luma.
    most = np.clip(signal + np.maximum(np.maximum(wanted[0], wanted[1]), wanted[2]), 0, 1)
    counts = np.bincount(np.rint(most * 4095).astype(np.intp).ravel(), minlength=4096)
    return float(pq_decode(most.max())), float(counts @ _pq_table() / most.size)


def _mastering(hdr: HdrMetadata) -> bytes:
    """ST 2086 values as both the SEI message and the box have them: G, B, R, white in 0.00002, light in 0.0001 cd/m2."""
    points = (*hdr.green, *hdr.blue, *hdr.red, *hdr.white)
    light = (round(hdr.brightest * 10000), round(hdr.darkest * 10000))
    return struct.pack(">8H2I", *(round(v * 50000) for v in points), *light)


def _light_level(hdr: HdrMetadata) -> bytes:
    return struct.pack(">2H", hdr.max_cll, hdr.max_fall)


def metadata_boxes(hdr: HdrMetadata) -> bytes:
    """The `mdcv` and `clli` boxes of a sample entry."""
    parts = ((b"mdcv", _mastering(hdr)), (b"clli", _light_level(hdr)))
    return b"".join(struct.pack(">I4s", 8 + len(data), kind) + data for kind, data in parts)


def _guarded(payload: bytes) -> bytes:
    """With emulation prevention (H.265, 7.4.2): no three bytes look like a start code."""
    result = bytearray()
    zeros = 0
    for byte in payload:
        if zeros == 2 and byte <= 3:
            result.append(3)
            zeros = 0
        result.append(byte)
        zeros = zeros + 1 if byte == 0 else 0
    return bytes(result)


def with_metadata(packet: bytes, hdr: HdrMetadata) -> bytes:
    """An HEVC key picture, as MOV and MP4 hold it (lengths of four bytes), with the metadata ahead of it."""
    messages = ((137, _mastering(hdr)), (144, _light_level(hdr)))
    units = b""
    for kind, data in messages:
        unit = bytes([39 << 1, 1]) + _guarded(
            bytes([kind, len(data)]) + data + b"\x80"
        )  # a prefix SEI NAL unit
        units += struct.pack(">I", len(unit)) + unit
    return units + packet
