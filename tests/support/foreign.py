"""Originals as they come from outside, each wrong in its own way: small good files, patched byte by byte."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio

from pictures import numbered, write_movie, write_picture

FRAMES = 4
Maker = Callable[[Path], None]


def good(path: Path, number: int = 0, *, sound: bool = True) -> Path:
    """A movie of four numbered frames, with sound."""
    tone = np.sin(np.arange(FRAMES * 2000) / 20) * 2**28
    frames = [numbered(number + k) for k in range(FRAMES)]
    return write_movie(path, frames, sound=np.stack([tone, tone]).astype(np.int32) if sound else None)


def patched(path: Path, before: bytes, after: bytes, place: int = 0) -> None:
    """Exchange some bytes for as many others, where they stand first from `place` on."""
    data = path.read_bytes()
    at = data.index(before, place)
    assert len(before) == len(after)
    path.write_bytes(data[:at] + after + data[at + len(before) :])


def latin_movie(path: Path) -> None:
    """A movie whose title is Latin-1 text (in `udta` of a MOV, in `ilst` of an MP4)."""
    codec = "prores_ks" if path.suffix == ".mov" else "libx264"
    frames = [numbered(k, name="yuv422p10le" if codec == "prores_ks" else "yuv420p") for k in range(FRAMES)]
    write_movie(path, frames, codec=codec, metadata={"title": "Cafe Farrow"})
    patched(path, b"Cafe Farrow", b"Caf\xe9 Farrow")


def latin_reel(path: Path) -> None:
    """A movie whose reel, in the timecode track, is Latin-1 text."""
    write_movie(path, [numbered(k) for k in range(FRAMES)], reel="A0CAFE1")
    patched(path, b"A0CAFE1", b"A0CAF\xc91")


def no_picture_codec(path: Path) -> None:
    """A movie whose picture is in a codec that nobody knows."""
    good(path)
    patched(path, b"apch", b"XYZ1", path.read_bytes().index(b"stsd"))


def no_sound_codec(path: Path) -> None:
    """A movie whose sound is in a codec that nobody knows; its picture is good."""
    good(path)
    patched(path, b"in24", b"XYZ2")


def hevc(path: Path) -> Path:
    """A movie whose header alone says what format its pictures have, its index ahead of them."""
    frames = [numbered(k, name="yuv420p") for k in range(FRAMES)]
    with av.open(str(path), "w", options={"movflags": "faststart"}) as out:
        stream = out.add_stream("libx265", rate=24, options={"x265-params": "log-level=none:pools=none"})
        stream.width, stream.height, stream.pix_fmt = 128, 72, "yuv420p"
        for number, frame in enumerate(frames):
            frame.pts, frame.time_base = number, Fraction(1, 24)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def noise(path: Path) -> None:
    """A movie whose every picture is noise; a ProRes one does not even say then what format it has."""
    (good if path.name == "F001C002.mov" else hevc)(path)
    data = path.read_bytes()
    at = data.index(b"mdat") + 4
    size = struct.unpack_from(">I", data, at - 8)[0] - 8
    path.write_bytes(data[:at] + random.Random(17).randbytes(size) + data[at + size :])


def all_head(path: Path) -> None:
    """A movie that ends where its first picture would begin."""
    hevc(path)
    data = path.read_bytes()
    path.write_bytes(data[: data.index(b"mdat") + 4])


def cut_short(path: Path) -> None:
    """A movie that ends within its first picture: its index is gone."""
    good(path)
    path.write_bytes(path.read_bytes()[:2000])


def empty(path: Path) -> None:
    """A file of no bytes."""
    path.write_bytes(b"")


def _pictures(folder: Path, suffix: str, **attributes: object) -> list[Path]:
    kind, values = ("half", np.full((36, 64, 3), 0.2, np.float16)) if suffix == ".exr" else ("uint16", None)
    if values is None:
        values = np.full((36, 64, 3), 20000, np.uint16)
    return [
        write_picture(folder / f"{folder.name}.{n:04d}{suffix}", values, kind, **attributes)
        for n in range(1, FRAMES + 1)
    ]


def latin_exr(path: Path) -> None:
    """EXR files whose owner is Latin-1 text."""
    for file in _pictures(path, ".exr", owner="Cafe Farrow"):
        patched(file, b"Cafe Farrow", b"Caf\xe9 Farrow")


def exr_without_channels(path: Path) -> None:
    """EXR files that do not open, and whose reason quotes raw bytes."""
    for file in _pictures(path, ".exr"):
        patched(file, b"channels\0chlist", b"channels\0\xe9hlist")


def exr_of_odd_channels(path: Path) -> None:
    """EXR files of which one channel's name is a raw byte."""
    for file in _pictures(path, ".exr"):
        patched(file, b"B\0\1\0\0\0", b"\xe9\0\1\0\0\0")


def exr_of_odd_compression(path: Path) -> None:
    """EXR files whose compression is of no known type: they open, and do not read."""
    for file in _pictures(path, ".exr"):
        patched(file, b"compression\0compression", b"compression\0\xe9ompression")


def exr_cut_short(path: Path) -> None:
    """EXR files with a whole header and nothing else: they open, and none reads."""
    for file in _pictures(path, ".exr"):
        file.write_bytes(file.read_bytes()[:-60])


def deep_exr(path: Path) -> None:
    """EXR files with several samples a pixel."""
    names = ["R", "G", "B", "A", "Z"]
    path.mkdir()
    for number in range(1, FRAMES + 1):
        spec = oiio.ImageSpec(64, 36, 5, "float")
        spec.channelnames, spec.deep = names, True
        data = oiio.DeepData()
        data.init(64 * 36, 5, [oiio.TypeDesc("float")] * 5, names)
        for pixel in range(64 * 36):
            data.set_samples(pixel, pixel % 3)
        writer = oiio.ImageOutput.create(f"{path.name}.exr")
        assert writer.open(str(path / f"{path.name}.{number:04d}.exr"), spec), writer.geterror()
        assert writer.write_deep_image(data), writer.geterror()
        writer.close()


def write_tiff(path: Path, directories: list[dict[int, tuple[int, int]]], width: int = 64) -> None:
    """A TIFF of 16 bits: `directories` have tag -> (type, value) beside what every picture needs; the first but one and
    on are sub-files of the first. One channel, or three where tag 277 says so."""
    body, places, later = bytearray(b"II*\0\0\0\0\0"), [], []
    for number, given in enumerate(directories):
        samples = given.get(277, (3, 1))[1]
        strip = len(body)
        body += bytes(width * 36 * 2 * samples)
        tags = {
            256: (3, width), 257: (3, 36), 258: (3, 16), 259: (3, 1), 262: (3, 1), 273: (4, strip), 277: (3, samples),
            278: (3, 36), 279: (4, width * 36 * 2 * samples), 284: (3, 1), **given,
        }  # fmt: skip
        if number == 0 and len(directories) > 1:
            tags[330] = (4, 0)
        places.append(len(body))
        body += struct.pack("<H", len(tags))
        for tag, (form, value) in sorted(tags.items()):
            later += [len(body) + 8] if tag == 330 else []
            body += struct.pack("<HHII", tag, form, 1, value)
        body += bytes(4)
    struct.pack_into("<I", body, 4, places[0])
    for at in later:
        struct.pack_into("<I", body, at, places[1])
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(bytes(body))


def cfa_tiff(path: Path) -> None:
    """TIFF files that hold a sensor's mosaic."""
    for n in range(1, FRAMES + 1):
        write_tiff(
            path / f"{path.name}.{n:04d}.tif", [{262: (3, 32803), 33421: (3, 2), 33422: (1, 0x02010100)}]
        )


def dng_called_tiff(path: Path) -> None:
    """DNG files called TIFF: a preview in R, G and B, and the mosaic in a sub-file."""
    for n in range(1, FRAMES + 1):
        preview = {254: (4, 1), 262: (3, 2), 277: (3, 3)}
        write_tiff(path / f"{path.name}.{n:04d}.tiff", [preview, {262: (3, 32803)}])


def dng(path: Path) -> None:
    """A DNG file."""
    write_tiff(path, [{262: (3, 32803), 50706: (1, 0x00000401)}])


def dng_folder(path: Path) -> None:
    """A folder of DNG files, as some cameras write a clip."""
    for n in range(1, FRAMES + 1):
        dng(path / f"{path.name}_{n:06d}.dng")


# kind -> name of the original, how it is made, what is said of it; an empty sentence where it is delivered.
FAIL: dict[str, tuple[str, Maker, str]] = {
    "a picture codec that nobody knows": ("F001C001.mov", no_picture_codec, "'XYZ1'"),
    "noise in ProRes": ("F001C002.mov", noise, "its first pictures do not decode: prores"),
    "noise in HEVC": ("F001C005.mov", noise, "none of its pictures decodes"),
    "nothing after the header": ("F001C006.mov", all_head, "none of its pictures decodes"),
    "cut short": ("F001C003.mov", cut_short, "was cut short: "),
    "no bytes": ("F001C004.mp4", empty, "is empty; copy it again"),
    "EXR without channels": ("F001C011", exr_without_channels, "does not open as a picture"),
    "EXR of odd channels": ("F001C012", exr_of_odd_channels, "has no channels R, G and B"),
    "EXR of odd compression": ("F001C013", exr_of_odd_compression, "its header is damaged"),
    "EXR cut short": ("F001C014", exr_cut_short, "none of its pictures decodes"),
    "deep EXR": ("F001C015", deep_exr, "is a deep picture"),
    "CFA TIFF": ("F001C016", cfa_tiff, "is camera raw (a sensor's mosaic"),
    "DNG called TIFF": ("F001C017", dng_called_tiff, "is camera raw (a sensor's mosaic"),
    "DNG": ("F001C018.dng", dng, "is camera raw"),
    "a folder of DNG": ("F001C019", dng_folder, "is camera raw"),
}
PASS: dict[str, tuple[str, Maker, str]] = {
    "Latin-1 in a MOV": ("L001C001.mov", latin_movie, "not UTF-8"),
    "Latin-1 in an MP4": ("L001C002.mp4", latin_movie, "not UTF-8"),
    "Latin-1 reel": ("L001C003.mov", latin_reel, "not UTF-8"),
    "Latin-1 in EXR": ("L001C004", latin_exr, ""),
    "a sound codec that nobody knows": ("L001C005.mov", no_sound_codec, "'XYZ2'"),
}


def make(folder: Path, kind: str) -> Path:
    """One of them in a folder; gives its path."""
    name, maker, _ = (FAIL | PASS)[kind]
    folder.mkdir(parents=True, exist_ok=True)
    maker(folder / name)
    return folder / name
