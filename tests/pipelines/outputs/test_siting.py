"""Where chroma lies in delivered files, measured: a colour ramp across and down, read back by an outsider."""

from pathlib import Path

import numpy as np
import pytest

import independent
from pictures import frame_of
from rushlight.pipelines.formats.codecs import Tags, codec, siting
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.pixel_formats import find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.grading.grader import Grader
from rushlight.pipelines.originals.framing import Placement, Rect
from rushlight.pipelines.outputs.segment_writer import MovieWriter

BT709 = Tags(primaries=1, transfer=1, matrix=1)
BT2020 = Tags(primaries=9, transfer=16, matrix=9)


def ramp(width: int, height: int, down: bool) -> np.ndarray:
    """R'G'B' (h, w, 3) whose blue rises from 0.2 to 0.8 over the picture while the rest stands still."""
    steps = height if down else width
    line = 0.2 + 0.6 * np.arange(steps) / (steps - 1)
    blue = np.broadcast_to(line[:, None] if down else line, (height, width))
    return np.stack([np.full_like(blue, 0.5), np.full_like(blue, 0.5), blue], -1)


def place_of_first(name: str, tags: Tags, down: bool, tmp_path: Path) -> float:
    """Luma pixels from the first luma sample to the first Cb sample, along the ramp, in a file of that codec."""
    which = codec(name)
    width, height = (64, 48) if name == "mjpeg" else (256, 144)  # steep, against its coarse codes
    source, target = find_pixel_format("gbrpf32le"), find_pixel_format(which.pixel_format)
    assert source is not None and target is not None
    picture = frame_of("gbrpf32le", *np.moveaxis(ramp(width, height, down).astype(np.float32), -1, 0))
    area = Placement(crop=Rect(x=0, y=0, width=width, height=height), x=0, y=0, width=width, height=height)
    grader = Grader(
        None, source=source, source_levels=tags.levels, target=target, target_levels=tags.levels,
        target_matrix=tags.matrix, siting=siting(which, tags), width=width, height=height, placement=area,
    )  # fmt: skip
    path = tmp_path / f"{name}.mov"
    settings = {"width": width, "height": height, "rate": FrameRate.parse(24), "tags": tags}
    best = {"quality": which.quality_range[0]} if which.quality is not None else {}
    with MovieWriter(path, MovieFormat(codec=which, container="mov", **settings, **best)) as writer:  # type: ignore[arg-type]
        writer.write(grader.grade(picture, 0)[0])
    high, wide = height // target.sub_y, width // target.sub_x
    samples = independent.raw(path, which.pixel_format, width, height).astype(float)
    cb = samples[width * height : width * height + wide * high].reshape(high, wide).mean(1 if down else 0)
    kb = {1: 0.0722, 9: 0.0593, 5: 0.114}[tags.matrix]
    unit = (255 if tags.levels == "full" else 224) * 2 ** (target.bits - 8)
    rise = unit * 0.5 * 0.6 / ((height if down else width) - 1)  # of Cb codes a luma pixel
    start = unit * ((1 - kb) * (0.2 - 0.5)) / (2 * (1 - kb)) + 128 * 2 ** (target.bits - 8)
    step = target.sub_y if down else target.sub_x
    inner = slice(4, -4)
    places = (cb - start) / rise - step * np.arange(len(cb))
    return float(places[inner].mean())


@pytest.mark.parametrize(
    ("name", "tags", "across", "down"),
    [
        ("h264", BT709, 0.0, 0.5),
        ("hevc", BT709, 0.0, 0.5),
        ("h264-10", BT2020, 0.0, 0.0),
        ("hevc-10", BT2020, 0.0, 0.0),
        ("prores-422", BT709, 0.0, 0.0),
        ("prores-422", BT2020, 0.0, 0.0),
        ("dnxhr-sq", BT709, 0.0, 0.0),
        ("dnxhr-hqx", BT709, 0.0, 0.0),
        ("mjpeg", Tags(primaries=1, transfer=1, matrix=5, levels="full"), 0.5, 0.5),
    ],
)
def test_chroma_lies_where_the_standard_says(
    name: str, tags: Tags, across: float, down: float, tmp_path: Path
) -> None:
    """Left for BT.709 4:2:0 (H.264, figure E.1), top-left for BT.2020 and BT.2100 (their tables of sampling), co-sited
    for 4:2:2, centre for JPEG (JFIF 1.02)."""
    assert place_of_first(name, tags, False, tmp_path) == pytest.approx(across, abs=0.12)
    assert place_of_first(name, tags, True, tmp_path) == pytest.approx(down, abs=0.12)
