"""A graphics card tried, in a process of its own: a card that hangs or fails then spoils nothing of the one that asks.

    python -m rushlight.batch.doctor.card_probe

prints one JSON document: why the card is not used, or its name and memory, and milliseconds a frame by it and by the processor.
"""

from __future__ import annotations

import json
import statistics
import sys
import time
from collections.abc import Callable
from importlib.metadata import version

import numpy as np

from rushlight.pipelines.card.graphics import Graphics
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format, new_frame, planes
from rushlight.pipelines.grading.bake import bake
from rushlight.pipelines.grading.grader import Grader, Rows
from rushlight.pipelines.grading.kernel import grade_rows
from rushlight.pipelines.originals.framing import Fit, placement

__all__ = ["probe"]

SIZE = (1920, 1080)
RUNS = {"card": 20, "processor": 5}


def probe(size: tuple[int, int] = SIZE) -> dict[str, object]:
    """What is found; `why_not` alone where the card is not used."""
    graphics = Graphics()
    free, total = graphics.memory
    card = 0.0 if graphics.why_not else _milliseconds(graphics, size, RUNS["card"])
    if graphics.why_not:
        return {"why_not": graphics.why_not}
    return {
        "why_not": "",
        "name": graphics.name,
        "cupy": _version(),
        "free_bytes": free,
        "total_bytes": total,
        "card_ms": round(card, 2),
        "processor_ms": round(_milliseconds(grade_rows, size, RUNS["processor"]), 2),
    }


def _version() -> str:
    module = sys.modules.get("cupy")
    return str(getattr(module, "__version__", "")) or version("cupy")


def _milliseconds(rows: Rows, size: tuple[int, int], runs: int) -> float:
    """The median time of a frame of 4:2:2 and ten bits through a look of ACES 2.0, after one that is not counted."""
    source, target = _format("yuv422p10le"), _format("yuv422p")
    grader = Grader(
        bake(Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"))),
        source=source,
        source_levels="narrow",
        target=target,
        width=size[0],
        height=size[1],
        placement=placement(Fit(width=size[0], height=size[1]), *size),
        rows=rows,
    )
    random, frame = np.random.default_rng(20), new_frame(source, *size)
    for plane, middle in zip(planes(frame), (420, 512, 512), strict=True):
        plane[:] = random.normal(middle, 20, plane.shape)

    def once() -> None:
        graded, _ = grader.grade(frame, 0)
        grader.frames.give_back(graded)

    once()
    return 1e3 * statistics.median(_seconds(once) for _ in range(runs))


def _seconds(call: Callable[[], None]) -> float:
    begun = time.perf_counter()
    call()
    return time.perf_counter() - begun


def _format(name: str) -> PixelFormat:
    found = find_pixel_format(name)
    assert found is not None
    return found


if __name__ == "__main__":
    sys.stdout.write(json.dumps(probe()) + "\n")
