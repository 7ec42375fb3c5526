"""A test clip for who receives a recipe's movies: the 24 patches through its look, grey steps, bars and a ramp, encoded and tagged as the
recipe delivers, with the values that each must have. Whoever says that colours are wrong plays it, and compares by eye or with a probe.

Bars are those of SMPTE RP 219-1 at 75 % of the signal; in HDR at the signal of graphics white (ITU-R BT.2408-7, table 1).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.doctor.chart_original import encoded
from rushlight.pipelines.burnin.canvas import graphics_white
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import Display, find_display
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.formats.codecs import Tags, codec, segment_frames
from rushlight.pipelines.formats.pixel_formats import find_pixel_format
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.grading.grader import code_scale
from rushlight.pipelines.job.from_spec import (
    build_look,
    movie_format,
    movie_tags,
    opened_facts,
    segment_writer,
)
from rushlight.pipelines.job.spec import JobSpec, MovieSpec
from rushlight.pipelines.measure.scopes import BARS, uv, ycbcr
from rushlight.pipelines.outputs.hdr_metadata import hdr_metadata, light_of, states_light
from rushlight.pipelines.outputs.join_segments import join
from rushlight.pipelines.outputs.readback import Delivered, check, expected, read_back
from rushlight.pipelines.render.kinds import LIT
from rushlight.pipelines.render.slate_head import display_frame

__all__ = ["Area", "ReceiverClip", "areas_of", "write_clip"]

Array = NDArray[np.float64]
Box = tuple[int, int, int, int]
GROUND = 0.35  # signal of the picture around everything
STEPS = 11  # greys, from black to white in equal steps of the signal


@dataclass(frozen=True, kw_only=True)
class Area:
    """A flat part of the clip, and the values that it must have; `box` is what to probe, well inside of it, in pixels."""

    name: str
    box: Box
    rgb: tuple[float, float, float]  # display R'G'B', 0 to 1
    eight: tuple[
        int, int, int
    ]  # the same from 0 to 255, as a probe of a screen shows it where nothing converts
    codes: tuple[int, int, int]  # Y', Cb, Cr (or R', G', B') in the file
    nits: float  # cd/m2 on the display that the movie is made for
    uv: tuple[float, float]  # CIE 1976 u', v'


@dataclass(frozen=True, kw_only=True)
class ReceiverClip:
    """A test clip as it was made: `delivered` is what reading it back found."""

    output: str
    path: Path
    display: Display
    delivered: Delivered
    areas: Sequence[Area]


def write_clip(folder: Path, job: JobSpec, output: MovieSpec) -> ReceiverClip:
    """Write the clip of an output into a folder, under the output's name. DeliveryError where it reads back as something else.

    Nothing is burned in. It is one segment long, and begins at 01:00:00:00.
    """
    output = output.model_copy(update={"burnin": None, "card": 0})
    tags, rate = movie_tags(job, output, opened_facts(job.source)), FrameRate.parse(job.rate)
    which, display = codec(output.codec), find_display(job.look_of(output).display)
    picture, areas = _drawn(job, output, display, tags)
    frame, _ = display_frame(picture, job, output, tags, which.pixel_format)
    hdr = None
    if states_light(output.codec, tags.transfer):
        lit = light_of(display_frame(picture, job, output, tags, LIT)[0], matrix=tags.matrix)
        hdr = hdr_metadata(display, [lit])
    count, movie = segment_frames(rate), movie_format(job, output, tags)
    pictures, path = folder / f".{output.output}.part", folder / f"{output.output}.{output.container}"
    timecode = Timecode.parse("01:00:00:00", rate)
    try:
        with segment_writer(pictures, job, output, tags) as writer:
            for _ in range(count):
                writer.write(frame)
        join([pictures], [count], path, movie, timecode=timecode, hdr=hdr)
    finally:
        pictures.unlink(missing_ok=True)
    delivered = read_back(path)
    if faults := check(delivered, expected(movie, frames=count, timecode=timecode, hdr=hdr)):
        raise DeliveryError("was made, but " + "; ".join(faults), file=str(path))
    return ReceiverClip(
        output=output.output, path=path, display=display, delivered=delivered, areas=tuple(areas)
    )


def _drawn(job: JobSpec, output: MovieSpec, display: Display, tags: Tags) -> tuple[Array, list[Area]]:
    """Display R'G'B' (h, w, 3) of the picture, and its areas."""
    width, height = output.width, output.height
    picture = np.full((height, width, 3), GROUND)
    look, areas = build_look(job.look_of(output), Path(job.out)), []
    patches = look.evaluate(encoded(list(PATCHES.values()), look.encoding), output.state)
    colours = {**dict(zip(PATCHES, patches, strict=True)), **dict(_greys(display)), **dict(_bars(display))}
    for name, (x, y, w, h) in areas_of(width, height).items():
        picture[y : y + h, x : x + w] = colours[name]
        areas.append(_area(name, (x, y, w, h), colours[name], display, tags, output))
    left, right, top, foot = (
        _even(share * size) for share, size in ((0.04, width), (0.96, width), (0.86, height), (0.96, height))
    )
    picture[top:foot, left:right] = np.linspace(0, _most(display), right - left)[None, :, None]
    return picture, areas


def areas_of(width: int, height: int) -> dict[str, Box]:
    """The whole of each area by its name: patches six by four, greys beside them from black down to white, bars below."""
    found: dict[str, Box] = {}
    names = iter(PATCHES)
    for row in range(4):
        for column in range(6):
            found[next(names)] = _box(0.04 + 0.11 * column, 0.05 + 0.16 * row, 0.1, 0.145, width, height)
    for step in range(STEPS):
        found[_grey(step)] = _box(0.74, 0.05 + 0.057 * step, 0.22, 0.057, width, height)
    for number, name in enumerate((*BARS, "black")):
        found[f"bar {name}"] = _box(0.04 + 0.115 * number, 0.71, 0.115, 0.12, width, height)
    return found


def _box(x: float, y: float, w: float, h: float, width: int, height: int) -> Box:
    left, top, right, foot = (
        _even(x * width),
        _even(y * height),
        _even((x + w) * width),
        _even((y + h) * height),
    )
    return left, top, right - left, foot - top


def _even(value: float) -> int:
    """Chroma of 4:2:0 has no edges elsewhere."""
    return round(value / 2) * 2


def _grey(step: int) -> str:
    return f"grey step {step}"


def _most(display: Display) -> float:
    """The highest signal that the display shows apart from the next: in PQ that of its peak."""
    return float(display.from_light([display.peak / 100] * 3)[0]) if display.curve == "pq" else 1.0


def _greys(display: Display) -> Iterator[tuple[str, Array]]:
    for step in range(STEPS):
        yield _grey(step), np.full(3, _most(display) * step / (STEPS - 1))


def _bars(display: Display) -> Iterator[tuple[str, Array]]:
    level = graphics_white(display.transfer) if display.hdr else 0.75
    for name, rgb in {**BARS, "black": (0, 0, 0)}.items():
        yield f"bar {name}", np.array(rgb) * level


def _area(name: str, box: Box, rgb: Array, display: Display, tags: Tags, output: MovieSpec) -> Area:
    x, y, w, h = box
    pixel_format = find_pixel_format(codec(output.codec).pixel_format)
    assert pixel_format is not None and pixel_format.family == "ycbcr"
    luma, cb, cr = ycbcr(rgb, tags.matrix)
    y_unit, y_zero, c_unit, c_zero = code_scale(pixel_format.bits, tags.levels)
    values = np.array([luma * y_unit + y_zero, cb * c_unit + c_zero, cr * c_unit + c_zero])
    codes = np.clip(np.rint(values), 0, (1 << pixel_format.bits) - 1).astype(int)
    light = display.to_xyz(rgb)
    red, green, blue = (round(float(v), 4) for v in rgb)
    r8, g8, b8 = (round(255 * float(v)) for v in rgb)
    u, v = (float(n) for n in uv(light))
    return Area(
        name=name,
        box=(x + w // 4, y + h // 4, w // 2, h // 2),
        rgb=(red, green, blue),
        eight=(r8, g8, b8),
        codes=(int(codes[0]), int(codes[1]), int(codes[2])),
        nits=round(float(display.nits(rgb)), 3),
        uv=(round(u, 4), round(v, 4)) if np.isfinite(u) else (0.0, 0.0),
    )
