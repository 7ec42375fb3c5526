"""Frames, formats and looks over which a card's kernel is held to the processor's: every byte and every count."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import av
import numpy as np

from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format, new_frame, planes
from rushlight.pipelines.grading.bake import Baked, bake
from rushlight.pipelines.grading.grader import Grader, Rows
from rushlight.pipelines.luts.lattice_lut import Lut
from rushlight.pipelines.originals.framing import Placement, Rect

SOURCES = (
    *(
        "yuv420p",
        "yuvj420p",
        "yuv422p",
        "yuv444p",
        "yuv420p10le",
        "yuv422p10le",
        "yuv444p10le",
        "yuv420p12le",
    ),
    *("yuv422p12le", "yuv444p12le", "yuv444p16le", "gbrp", "gbrp10le", "gbrp12le", "gbrp16le", "gbrpf32le"),
)
TARGETS = (
    "yuv420p",
    "yuvj420p",
    "yuv422p",
    "yuv420p10le",
    "yuv422p10le",
    "yuv444p10le",
    "yuv444p12le",
    "yuv444p16le",
)
SITINGS, LEVELS = ("left", "top-left", "centre"), ("narrow", "full")
CDL_ = CDL(slope=(1.2, 1, 0.9), offset=(0.02, -0.01, 0), power=(1.1, 0.95, 1), saturation=1.2)
CLAMPED = replace(CDL_, clamp=True, saturation=0.7)


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way of a frame through a grader."""

    source: str
    target: str
    size: tuple[int, int] = (34, 10)  # of the picture
    into: tuple[int, int] | None = None  # of the output, where that is larger
    source_siting: str = "left"
    siting: str = "left"
    source_levels: str = "narrow"
    target_levels: str = "narrow"
    source_matrix: int = 1
    target_matrix: int = 1
    dither: bool = True
    number: int = 7


def ways(seed: int, many: int) -> list[Way]:
    """Random ones, every source, target, siting and level among the first of them."""
    rng = np.random.default_rng(seed)
    found = []
    for k in range(many):
        width, height = int(rng.integers(2, 70)), int(rng.integers(1, 13))
        larger = (2 * width + 8, 2 * height + 6) if rng.random() < 0.3 else None
        found.append(
            Way(
                source=SOURCES[k % len(SOURCES)],
                target=TARGETS[(k + k // len(SOURCES)) % len(TARGETS)],
                size=(width, height),
                into=larger,
                source_siting=SITINGS[int(rng.integers(3))],
                siting=SITINGS[k % 3],
                source_levels=LEVELS[int(rng.integers(2))],
                target_levels=LEVELS[k // 3 % 2],
                source_matrix=int(rng.choice([1, 5, 9])),
                target_matrix=int(rng.choice([1, 5, 9])),
                dither=bool(rng.random() < 0.8),
                number=int(rng.integers(1 << 32)),
            )
        )
    return found


def every_way() -> Iterator[Way]:
    """Every source, target, siting and level: the whole table."""
    for source, target in itertools.product(SOURCES, TARGETS):
        for into, out in itertools.product(SITINGS, SITINGS):
            for had, wanted in itertools.product(LEVELS, LEVELS):
                yield Way(
                    source=source,
                    target=target,
                    source_siting=into,
                    siting=out,
                    source_levels=had,
                    target_levels=wanted,
                    size=(35, 11) if into == out else (34, 10),
                )


def noise(name: str, width: int, height: int, seed: int) -> av.VideoFrame:
    """Every code there is, padding of rows too; of floats, what is far outside and what is no number."""
    rng, pixel_format = np.random.default_rng(seed), fmt(name)
    frame = new_frame(pixel_format, width, height)
    for plane in planes(frame):
        if pixel_format.is_float:
            plane[:] = rng.normal(0.4, 0.6, plane.shape).astype(np.float32)
            odd = rng.random(plane.shape) < 0.03
            plane[odd] = rng.choice(
                np.array([np.nan, np.inf, -np.inf, -0.0, 1e-42, -1e-42, 3e38], np.float32), odd.sum()
            )
        else:
            plane[:] = rng.integers(0, 1 << pixel_format.bits, plane.shape)
    return frame


def graded(baked: Baked, way: Way, rows: Rows, frame: av.VideoFrame) -> tuple[bytes, tuple[int, int, int]]:
    """The output's bytes, and the counts."""
    width, height = way.size
    full = way.into or way.size
    left, top = ((full[0] - width) // 4 * 2, (full[1] - height) // 4 * 2)
    grader = Grader(
        baked,
        source=fmt(way.source),
        source_levels=way.source_levels,  # type: ignore[arg-type]
        source_siting=way.source_siting,  # type: ignore[arg-type]
        source_matrix=way.source_matrix,
        target=fmt(way.target),
        target_levels=way.target_levels,  # type: ignore[arg-type]
        target_matrix=way.target_matrix,
        siting=way.siting,  # type: ignore[arg-type]
        width=full[0],
        height=full[1],
        placement=Placement(
            crop=Rect(x=0, y=0, width=width, height=height), x=left, y=top, width=width, height=height
        ),
        dither=way.dither,
        rows=rows,
    )
    out, counts = grader.grade(frame, way.number)
    return b"".join(p.tobytes() for p in planes(out)), (counts.over, counts.under, counts.outside)


def fmt(name: str) -> PixelFormat:
    found = find_pixel_format(name)
    assert found is not None
    return found


def rough_lut(size: int = 9) -> Lut:
    """A LUT of noise about the identity."""
    rng = np.random.default_rng(3)
    axis = np.linspace(0, 1, size)
    table = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1) + rng.normal(
        0, 0.1, (size,) * 3 + (3,)
    )
    return Lut(table=table)


LOOKS = {
    "plain": {},
    "CDL ahead": {"cdl": CDL_},
    "CDL ahead, clamped": {"cdl": CLAMPED},
    "CDL after": {"cdl": CDL_, "grade_order": "after"},
    "CDL inside": {"cdl": CDL_, "cdl_space": "ACEScct"},
    "exposure, white balance": {"exposure": 0.7, "white_balance": (0.33, 0.34)},
    "show LUT": {"show_lut": True},
    "show LUT, CDL ahead": {"show_lut": True, "cdl": CLAMPED},
    "colorimetric": {"transform": "colorimetric", "cdl": CDL_},
    "HDR": {"display": "PQ BT.2100", "cdl": CDL_},
    "linear": {"encoding": "ACES2065-1", "cdl": CDL_},
}


@cache
def look(name: str, size: int) -> Baked:
    """A baked look; at 65 points a side those of ACES 2.0 to SDR are evaluated directly where they ask for it."""
    facts = dict(LOOKS[name])
    encoding = find_encoding(str(facts.pop("encoding", "LogC3")))
    display = find_display(str(facts.pop("display", "Rec.709 BT.1886")))
    if facts.pop("show_lut", False):
        facts["show_lut"] = ShowLut(name="rough", lut=rough_lut())
    return bake(Look(encoding=encoding, display=display, **facts), size=size)  # type: ignore[arg-type]


def random_look(seed: int, direct: Baked | None = None) -> Baked:
    """Tables that no look gave: curves, shaper and lattice of noise, lit or not; with the transform of `direct`, whose size
    they then have, in shares of noise."""
    rng = np.random.default_rng(seed)
    size = direct.size if direct else int(rng.integers(2, 18))
    points = int(rng.integers(2, 60))
    low, high = -float(rng.random()) * 0.3, 1 + float(rng.random()) * 0.5
    lattice = rng.uniform(-0.3, 1.3, (size, size, size, 4)).astype(np.float32)
    lattice[..., 3] = np.clip(lattice[..., 3], 0, 1) * (lattice[..., 3] > 0.6) if direct else 0
    lit = direct is not None or rng.random() < 0.5
    shaper = rng.uniform(-1, size, (3, points))
    if rng.random() < 0.5:
        shaper = np.sort(shaper, 1)
    if rng.random() < 0.4:  # three straight lines
        shaper = np.repeat((np.linspace(low, high, points) * (size - 1))[None], 3, 0)
    curves = rng.uniform(-0.4, 1.4, (3, int(rng.integers(2, 4097))))
    light = np.sort(rng.uniform(-0.1, 1.2, 22 * 64 + 1))
    return Baked(
        lo=low,
        hi=high,
        grade=curves.astype(np.float32) if rng.random() < 0.7 else None,
        saturation=1.0 if rng.random() < 0.3 else float(rng.uniform(0, 2)),
        clamp=bool(rng.random() < 0.5),
        shaper=shaper.astype(np.float32),
        shaper_lo=low,
        shaper_hi=high,
        lattice=lattice,
        light=light.astype(np.float32) if lit else None,
        direct=direct.direct if direct else None,
        digest="",
    )
