"""Every kind of movie that is promised, made by an outsider: exact frame count, first timecode, every frame in its place,
a patch's codes, and the outsider's own decode."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
import pytest

import independent
from pictures import number_of, numbered
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, planes
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe

FRAMES = 14
SIZE = (256, 144)
PATCH = (600, 400, 640)  # ten-bit Y Cb Cr
CONTAINERS = {"mov": (), "mp4": (), "mxf": (), "opatom.mxf": ("-f", "mxf_opatom")}
# Rate, first label as FFmpeg takes it, and as it is read: across a minute that drops labels, midnight, an hour.
LABELS = [
    ("24", "10:59:59:20"),
    ("25", "23:59:59:20"),
    ("30000/1001", "00:08:59;25"),
    ("24000/1001", "01:02:03:04"),
]


def formats() -> Iterator[tuple[str, tuple[str, ...], str, tuple[str, ...], str]]:
    """Name, FFmpeg's arguments, pixel format, containers that FFmpeg writes it in, pixel format as read."""
    mov_and_mxf = ("mov", "mxf", "opatom.mxf")
    for profile in ("proxy", "lt", "standard", "hq", "4444", "4444xq", "4444 alpha"):
        four = profile.startswith("4444")
        name = "yuva444p10le" if "alpha" in profile else "yuv444p10le" if four else "yuv422p10le"
        options = ("-c:v", "prores_ks", "-profile:v", profile.split()[0])
        yield f"prores {profile}", options, name, mov_and_mxf, name.replace("p10", "p12") if four else name
    kinds = [(p, "yuv422p") for p in ("lb", "sq", "hq")]
    for profile, name in [*kinds, ("hqx", "yuv422p10le"), ("444", "yuv444p10le"), ("444", "gbrp10le")]:
        options = ("-c:v", "dnxhd", "-profile:v", f"dnxhr_{profile}")
        yield f"dnxhr {profile} {name[:3]}", options, name, mov_and_mxf, name
    for codec, library, flag in (("h264", "libx264", "-x264-params"), ("hevc", "libx265", "-x265-params")):
        for bits in (8, 10):
            for sampling in ("420", "422", "444"):
                for group, settings in (("intra", "keyint=1"), ("long", "keyint=6:bframes=2")):
                    name = f"yuv{sampling}p" + ("10le" if bits == 10 else "")
                    options = ("-c:v", library, "-crf", "10", flag, settings + ":log-level=error")
                    places = ("mov", "mp4", "mxf", "opatom.mxf") if codec == "h264" else ("mov", "mp4")
                    yield f"{codec} {bits} {sampling} {group}", options, name, places, name
    for sampling in ("420", "422", "444"):
        name = f"yuvj{sampling}p"
        yield f"mjpeg {sampling}", ("-c:v", "mjpeg", "-q:v", "2"), name, ("mov", "mp4"), name


TABLE = {entry[0]: entry for entry in formats()}
ALL = [(name, container) for name, entry in TABLE.items() for container in entry[3]]
# Each kind once, the containers going round; of H.264 and HEVC long groups for one bit depth, intra for the other.
SHORT = [
    (name, entry[3][index % len(entry[3])])
    for index, (name, entry) in enumerate(
        (n, e) for n, e in TABLE.items() if n[0] != "h" or ("long" in n) == ((" 10 " in n) != ("420" in n))
    )
]


@pytest.fixture(scope="module")
def source() -> list[av.VideoFrame]:
    frames = []
    for n in range(FRAMES):
        frame = numbered(n, *SIZE, "yuv444p10le")
        for plane, code in zip(planes(frame), PATCH, strict=True):
            plane[80:136, 160:240] = code
        frames.append(frame)
    return frames


@pytest.mark.parametrize(("name", "container"), SHORT)
def test_a_kind_of_movie(name: str, container: str, source: list[av.VideoFrame], tmp_path: Path) -> None:
    one(name, container, SHORT.index((name, container)), source, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "container"), ALL)
def test_every_kind_of_movie(name: str, container: str, source: list[av.VideoFrame], tmp_path: Path) -> None:
    for index in range(len(LABELS)):
        one(name, container, index, source, tmp_path)


def one(name: str, container: str, index: int, source: list[av.VideoFrame], tmp_path: Path) -> None:
    _, options, made, _, read = TABLE[name]
    rate, label = LABELS[index % len(LABELS)]
    # full for JPEG: told so, FFmpeg scales the codes
    scale = ("-vf", "scale=in_range=tv:out_range=pc") if made.startswith("yuvj") else ()
    scale = ("-vf", "scale=in_color_matrix=bt709") if made.startswith("gbr") else scale
    more = (*scale, *options, "-pix_fmt", made, "-timecode", label, *CONTAINERS[container])
    path = independent.write(tmp_path / f"a.{container}", source, *more, rate=rate)
    facts = probe(path)
    assert (facts.frames, str(facts.timecode), facts.timecode_from) == (FRAMES, label, "header")
    assert str(facts.rate.fraction) == rate and (facts.width, facts.height) == SIZE
    assert (facts.pixel_format.name, facts.variable_rate, facts.interlaced) == (read, False, False)
    assert [w for w in facts.warnings if "OP-Atom" not in w] == []
    assert len(facts.warnings) == (container == "opatom.mxf")
    with open_source(facts) as opened:
        found = list(opened.frames(0, FRAMES))
        assert [number_of(f.image) for f in opened.frames(8, 3)] == [8, 9, 10]
    assert [number_of(f.image) for f in found] == list(range(FRAMES))
    assert not any(f.damage for f in found)
    held = planes(found[9].image)
    pixel_format = find_pixel_format(read)
    assert pixel_format is not None
    for k, (plane, code) in enumerate(zip(held, wanted(pixel_format.bits, read), strict=True)):
        patch = plane[90 * plane.shape[0] // 144 : 126 * plane.shape[0] // 144]
        patch = patch[:, 170 * plane.shape[1] // 256 : 230 * plane.shape[1] // 256]
        assert abs(patch.astype(float).mean() - code) <= 1.5 * 2 ** (pixel_format.bits - 8), (k, code)
    seen = independent.raw(path, read, *SIZE, 9)
    ours = np.concatenate([p.ravel() for p in held])
    if read.startswith("gbr"):
        ours = np.concatenate([p.ravel() for p in (held[1], held[2], held[0])])
    assert np.abs(ours.astype(int) - seen[: ours.size].astype(int)).max() <= 1


def wanted(bits: int, name: str) -> tuple[float, float, float]:
    """The patch's codes in that format."""
    y, cb, cr = (PATCH[0] - 64) / 876, (PATCH[1] - 512) / 896, (PATCH[2] - 512) / 896
    top, unit = (1 << bits) - 1, 1 << (bits - 8)
    if name.startswith("gbr"):  # by BT.709, full levels
        return tuple(v * top for v in (y + 1.5748 * cr, y - 0.187324 * cb - 0.468124 * cr, y + 1.8556 * cb))
    if name.startswith("yuvj"):
        return y * top, 128 + cb * top, 128 + cr * top
    return (16 + 219 * y) * unit, (128 + 224 * cb) * unit, (128 + 224 * cr) * unit
