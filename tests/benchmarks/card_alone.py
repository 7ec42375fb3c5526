"""One process that grades, by the processor or by a card: a worker's share of it, measured from inside.

    python -m tests.benchmarks.card_alone processor|card hd|uhd photo|grey|noise|light FRAMES [BYTES_OF_A_PIECE]

Prints JSON: milliseconds a frame (processor time of this process, and wall), seconds of processor to import CuPy, to reach the card and for the
first frame with its test, and megabytes that a worker takes of the card and of memory.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from typing import Any

import av
import numpy as np

from rushlight.pipelines.card import transfer
from rushlight.pipelines.card.graphics import Graphics
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format, new_frame, planes
from rushlight.pipelines.grading.bake import Baked, bake
from rushlight.pipelines.grading.grader import Grader, Rows
from rushlight.pipelines.grading.kernel import grade_rows
from rushlight.pipelines.originals.framing import Fit, placement
from tests.benchmarks.lived import in_marked_cells

SIZES = {"hd": (1920, 1080), "uhd": (3840, 2160)}
SPREAD = {"photo": (8, 4, 4), "grey": (30, 2, 2), "noise": (90, 60, 60), "light": (4, 4, 4)}
CDL_ = CDL(slope=(1.1, 1.0, 0.95), offset=(0.01, 0, -0.01), power=(1.02, 1, 0.98), saturation=0.9)


def fmt(name: str) -> PixelFormat:
    found = find_pixel_format(name)
    assert found is not None
    return found


@cache
def baked_look() -> Baked:
    display = find_display("Rec.709 BT.1886")
    return bake(Look(encoding=find_encoding("LogC3"), display=display, cdl=CDL_))


def picture(kind: str, width: int, height: int) -> av.VideoFrame:
    """4:2:2 of ten bits: smooth waves with a camera's noise, grey, coloured noise, or one saturated light."""
    rng, frame = np.random.default_rng(0), new_frame(fmt("yuv422p10le"), width, height)
    levels = in_marked_cells(baked_look()) if kind == "light" else (420, 512, 512)
    for k, (plane, level, wide) in enumerate(zip(planes(frame), levels, SPREAD[kind], strict=True)):
        y, x = np.mgrid[: plane.shape[0], : plane.shape[1]].astype(np.float32)
        waves = 0.0 if kind != "photo" else (160 if k == 0 else 35) * (np.sin(x / 97) + np.cos(y / 71))
        plane[:] = np.clip(level + waves + rng.normal(0, wide, plane.shape), 64, 960)
    return frame


def grader(rows: Rows, width: int, height: int) -> Grader:
    return Grader(
        baked_look(),
        source=fmt("yuv422p10le"),
        source_levels="narrow",
        target=fmt("yuv422p"),
        width=width,
        height=height,
        placement=placement(Fit(width=width, height=height), width, height),
        rows=rows,
    )


def per_frame(grade: Grader, frame: av.VideoFrame, many: int) -> tuple[float, float]:
    """Milliseconds of processor and of wall a frame, the first not counted."""

    def once(number: int) -> None:
        out, _ = grade.grade(frame, number)
        grade.frames.give_back(out)

    once(0)
    cpu, wall = time.process_time(), time.perf_counter()
    for number in range(many):
        once(number)
    return 1e3 * (time.process_time() - cpu) / many, 1e3 * (time.perf_counter() - wall) / many


def taken_of_card() -> int:
    """Megabytes in use on the card, by all."""
    command = ["nvidia-smi", "--query-gpu=memory.used", "--format=csv,noheader,nounits"]
    try:
        run = subprocess.run(command, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return 0
    return int(run.stdout.split()[0])


def resident() -> float:
    """Megabytes of memory that this process holds."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def timed(call: Callable[[], object]) -> float:
    begun = time.process_time()
    call()
    return time.process_time() - begun


def main() -> None:
    who, size, kind, frames, *piece = sys.argv[1:]
    if piece:
        transfer.PIECE = int(piece[0])
    width, height = SIZES[size]
    frame, rows = picture(kind, width, height), grade_rows
    grader(rows, width, height).grade(frame, 0)  # compiled code loaded
    found: dict[str, Any] = {}
    if who == "card":
        used, had, start = taken_of_card(), resident(), time.perf_counter()
        found["import"] = timed(partial(__import__, "cupy"))
        made: list[Graphics] = []
        found["open"] = timed(lambda: made.append(Graphics()))
        graphics = made[0]
        found["first"] = timed(lambda: grader(graphics, width, height).grade(frame, 0))
        found |= {"start wall": time.perf_counter() - start, "card MB": taken_of_card() - used}
        found |= {"MB": resident() - had, "name": graphics.name, "why not": graphics.why_not}
        rows = graphics  # type: ignore[assignment]
    found["cpu"], found["wall"] = per_frame(grader(rows, width, height), frame, int(frames))
    print(json.dumps(found))


if __name__ == "__main__":
    main()
