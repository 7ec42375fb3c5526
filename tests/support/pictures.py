"""Small pictures and movies for tests, made without the product's own writers."""

from __future__ import annotations

import os
import struct
import time
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
from numpy.typing import NDArray

from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes


def frame_of(name: str, *values: NDArray[np.generic]) -> av.VideoFrame:
    """A frame of that pixel format from its planes (Y Cb Cr or R G B)."""
    pixel_format = find_pixel_format(name)
    assert pixel_format is not None
    frame = new_frame(pixel_format, values[0].shape[1], values[0].shape[0])
    for plane, value in zip(planes(frame), values, strict=True):
        plane[:] = value
    return frame


def texture(name: str, width: int, height: int, seed: int = 0) -> av.VideoFrame:
    """A frame with smooth structure in all planes, well inside the code range."""
    pixel_format = find_pixel_format(name)
    assert pixel_format is not None
    frame = new_frame(pixel_format, width, height)
    top = (1 << pixel_format.bits) - 1
    for k, plane in enumerate(planes(frame)):
        y, x = (np.arange(length, dtype=float) for length in plane.shape)
        across, down = 0.5 + 0.18 * np.sin(x / (5 + k) + seed), 0.15 * np.cos(y / (7 - k) + seed / 2)
        plane[:] = np.rint((across + down[:, None]) * top)
    return frame


def write_movie(
    path: Path,
    frames: list[av.VideoFrame],
    *,
    codec: str = "prores_ks",
    rate: Fraction = Fraction(24),
    timecode: str = "01:00:00:00",
    reel: str = "A001",
    levels: int = 1,
    matrix: int = 1,
    options: dict[str, str] | None = None,
    sound: NDArray[np.int32] | None = None,
    sound_rate: int = 48000,
    metadata: dict[str, str] | None = None,
) -> Path:
    """A movie by PyAV alone."""
    with av.open(str(path), "w") as out:
        out.metadata.update(metadata or {})
        stream = out.add_stream(codec, rate=rate, options=options or {})
        stream.width, stream.height, stream.pix_fmt = frames[0].width, frames[0].height, frames[0].format.name
        stream.codec_context.time_base = 1 / rate
        stream.codec_context.color_range, stream.codec_context.colorspace = levels, matrix
        stream.codec_context.thread_count = 1
        if timecode:
            stream.metadata["timecode"] = timecode
        if reel:
            stream.metadata["reel_name"] = reel
        track = out.add_stream("pcm_s24le", rate=sound_rate, layout="stereo") if sound is not None else None
        for number, frame in enumerate(frames):
            frame.color_range, frame.colorspace = levels, matrix
            frame.pts, frame.time_base = number, 1 / rate
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
        if track is not None and sound is not None:
            packed = av.AudioFrame.from_ndarray(
                np.ascontiguousarray(sound.T.reshape(1, -1)), format="s32", layout="stereo"
            )
            packed.sample_rate, packed.pts = sound_rate, 0
            out.mux(track.encode(packed))
            out.mux(track.encode(None))
    return settled(path)


def settled(path: Path) -> Path:
    """A file as if written an hour ago. One of just now that does not open is waited for, ten seconds a night, since it
    may still be growing; one that opens is looked at twice."""
    hour_ago = time.time_ns() - 3600 * 10**9
    os.utime(path, ns=(hour_ago, hour_ago))
    return path


def numbered(number: int, width: int = 128, height: int = 72, name: str = "yuv422p10le") -> av.VideoFrame:
    """A frame that carries its own number as sixteen black and white bars, and some texture below."""
    frame = texture(name, width, height, number)
    pixel_format = find_pixel_format(name)
    assert pixel_format is not None
    unit = 1 << (pixel_format.bits - 8)
    luma, *chroma = planes(frame)
    for bit in range(16):
        luma[: height // 2, bit * width // 16 : (bit + 1) * width // 16] = (
            200 if number >> bit & 1 else 40
        ) * unit
    for plane in chroma:
        plane[: plane.shape[0] // 2] = 128 * unit
    return frame


def number_of(frame: av.VideoFrame) -> int:
    """The number that a frame of `numbered` carries."""
    pixel_format = find_pixel_format(frame.format.name)
    assert pixel_format is not None
    return number_in(planes(frame)[0], pixel_format.bits)


def number_in(luma: NDArray[np.generic], bits: int = 8) -> int:
    """The number that a plane of luma or grey carries."""
    height, width = luma.shape
    found = 0
    for bit in range(16):
        bar = luma[height // 8 : height // 3, bit * width // 16 + 2 : (bit + 1) * width // 16 - 2]
        found |= int(bar.astype(float).mean() > 120 * (1 << (bits - 8))) << bit
    return found


def write_sequence(
    folder: Path,
    codes: list[NDArray[np.uint16]],
    *,
    first: int = 86400,
    timecode: bool = True,
    rate: float = 24.0,
) -> Path:
    """A 10-bit DPX sequence of code values (h, w, 3), with timecode from the file numbers at 24."""
    folder.mkdir(parents=True, exist_ok=True)
    for number, picture in enumerate(codes, first):
        wide = picture.astype(np.uint16)
        buf = oiio.ImageBuf(np.ascontiguousarray((wide << 6) | (wide >> 4)))
        spec = buf.specmod()
        spec.attribute("oiio:BitsPerSample", 10)
        if rate:
            spec.attribute("dpx:FrameRate", rate)
        if timecode:
            seconds, frame = divmod(number, 24)
            digits = [seconds // 3600 % 24, seconds // 60 % 60, seconds % 60, frame]
            word = sum((d // 10 << 4 | d % 10) << s for d, s in zip(digits, (24, 16, 8, 0), strict=True))
            spec.attribute("smpte:TimeCode", oiio.TypeTimeCode, (word, 0))
        assert buf.write(str(folder / f"{folder.name}.{number:07d}.dpx"), oiio.UINT16), buf.geterror()
    return folder


def write_dpx(
    path: Path,
    codes: NDArray[np.integer],
    *,
    bits: int,
    packing: str,
    order: str,
    timecode: str = "01:00:00:05",
    rate: float = 24.0,
    orientation: int = 0,
) -> None:
    """A DPX file of RGB codes (h, w, 3) by SMPTE ST 268-1:2014, without any library: `packing` is "packed", "A" or "B"
    (filled), `order` is ">" or "<"."""
    height, width, _ = codes.shape
    head = bytearray(b"\xff" * 2048)
    digits = timecode.replace(":", "")
    how = {"packed": 0, "A": 1, "B": 2}[packing]
    lines = b"".join(_dpx_line(line.ravel(), bits, how, order) for line in codes.astype(np.uint32))
    head[0:4] = struct.pack(order + "I", 0x53445058)
    struct.pack_into(order + "I8sII", head, 4, 2048, b"V2.0\0\0\0\0", 2048 + len(lines), 1)
    struct.pack_into(order + "HHII", head, 768, orientation, 1, width, height)
    struct.pack_into(
        order + "IIfIf4BHHIII", head, 780, 0, 0, 0.0, (1 << bits) - 1, 0.0, 50, 0, 0, bits, how, 0, 2048, 0, 0
    )
    struct.pack_into(order + "I", head, 1920, int(digits, 16))
    struct.pack_into(order + "f", head, 1940, rate)
    path.write_bytes(bytes(head) + lines)


def _dpx_line(codes: NDArray[np.uint32], bits: int, how: int, order: str) -> bytes:
    if bits == 16:
        return codes.astype(order + "u2").tobytes()
    if bits == 12 and how:
        return (codes << (4 if how == 1 else 0)).astype(order + "u2").tobytes()
    if bits == 10 and how:
        first, second, third = np.pad(codes, (0, -codes.size % 3)).reshape(-1, 3).T
        words = first << 20 | second << 10 | third
        return (words << (2 if how == 1 else 0)).astype(order + "u4").tobytes()
    number = sum(int(code) << (bits * k) for k, code in enumerate(codes))  # the first code in the lowest bits
    words = -(-codes.size * bits // 32)
    return b"".join(struct.pack(order + "I", number >> (32 * k) & 0xFFFFFFFF) for k in range(words))


def write_picture(path: Path, pixels: NDArray[np.generic], kind: str, **attributes: object) -> Path:
    """A picture (h, w, channels) by OpenImageIO; `kind` is its sample type, `names` its channels."""
    path.parent.mkdir(parents=True, exist_ok=True)
    spec = oiio.ImageSpec(pixels.shape[1], pixels.shape[0], pixels.shape[2], kind)
    for name, value in attributes.items():
        if name == "names":
            spec.channelnames = value
        elif isinstance(value, tuple) and name in ("FramesPerSecond", "captureRate"):
            spec.attribute(name, oiio.TypeRational, value)
        elif isinstance(value, tuple):
            spec.attribute(name, f"float[{len(value)}]", value)
        else:
            spec.attribute(name.replace("__", ":"), value)
    writer = oiio.ImageOutput.create(str(path))
    assert writer.open(str(path), spec), writer.geterror()
    assert writer.write_image(pixels), writer.geterror()
    writer.close()
    return path
