"""Codes out of range, which leave the 0..1 of an encoding: counted while a clip is rendered, and said once it
is done.

Codes of the camera are counted by the kernel, every pixel. What exposure, white balance and printer points push out is
counted on a grid of pixels of every frame, by the exact look.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isqrt
from typing import TYPE_CHECKING

import av
import numpy as np
from numpy.typing import ArrayLike

from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format, new_frame, planes
from rushlight.pipelines.grading.grader import to_rgb

if TYPE_CHECKING:
    from rushlight.pipelines.colour.look import Look
    from rushlight.pipelines.job.spec import JobSpec, LookSpec, SourceSpec

__all__ = [
    "corrected_look",
    "corrects",
    "pushed_of",
    "pushed_out",
    "range_counts",
    "range_warnings",
    "thinned",
]

SAMPLES = 32768
WORTH_SAYING = 1e-4  # of the pixels; fewer stand in the record alone


def corrects(look: LookSpec) -> bool:
    """True if a look has anything ahead of its grade."""
    return bool(look.exposure or look.white_balance or look.printer_points)


def corrected_look(job: JobSpec) -> LookSpec:
    """The look whose corrections are counted: the recipe's, or the first that a graded output shows and that has any."""
    shown = [job.look_of(output) for output in job.outputs if output.state == "graded"]
    return next((look for look in (job.look, *shown) if look in shown and corrects(look)), job.look)


def thinned(
    frame: av.VideoFrame, pixel_format: PixelFormat, samples: int = SAMPLES
) -> tuple[av.VideoFrame, PixelFormat]:
    """Every so many-th pixel of every so many-th row, at full chroma: about `samples` of them. Chroma is the nearest."""
    step = 2 * max(1, isqrt(frame.width * frame.height // samples) // 2)
    tail = "" if pixel_format.bits == 8 else f"{pixel_format.bits}le"
    name = pixel_format.name if pixel_format.family == "rgb" else f"yuv444p{tail}"
    small = find_pixel_format(name)
    assert small is not None
    first, *others = planes(frame)
    kept = first[::step, ::step]
    out = new_frame(small, kept.shape[1], kept.shape[0])
    views = planes(out)
    views[0][:] = kept
    for plane, view in zip(others, views[1:], strict=True):
        view[:] = plane[:: step // pixel_format.sub_y, :: step // pixel_format.sub_x]
    return out, small


def pushed_of(
    frame: av.VideoFrame, pixel_format: PixelFormat, source: SourceSpec, look: Look
) -> dict[str, int]:
    """`pushed_out` over a grid of an original's frame."""
    small, at = thinned(frame, pixel_format)
    return pushed_out(look, to_rgb(small, at, source.levels, source.matrix, chroma=source.chroma))


def pushed_out(look: Look, signal: ArrayLike) -> dict[str, int]:
    """Number of pixels of a camera signal (..., 3) a look's corrections push above 1 or below 0, of those
    that were inside.

    NaN counts as inside.
    """
    before = np.asarray(signal, np.float64)
    after = look.correct(before)
    over = (after > 1).any(-1) & ~(before > 1).any(-1)
    under = (after < 0).any(-1) & ~(before < 0).any(-1)
    return {"over": int(over.sum()), "under": int(under.sum()), "pixels": int(over.size)}


def range_counts(signal: ArrayLike) -> dict[str, int]:
    """Pixels of a signal (..., 3) with a component above 1, or below 0, and all. NaN counts as inside."""
    values = np.asarray(signal, np.float64)
    over, under = (values > 1).any(-1), (values < 0).any(-1)
    return {"over": int(over.sum()), "under": int(under.sum()), "pixels": int(over.size)}


def range_warnings(look: Look, counts: Mapping[str, int], pushed: Mapping[str, int]) -> list[str]:
    """Sentences for the job: shares of pixels whose log codes, or whose corrected ones, lie outside 0..1, and their fate.

    `counts` has over, under, outside and pixels, `pushed` over, under and pixels.
    """
    if look.cdl is not None and look.cdl.clamp and look.grade_order == "before":
        fate = "the CDL clamps them"
    elif look.show_lut:
        fate = "the show LUT clamps them at its domain"
    else:
        fate = "the display transform takes them as they are"
    found = []
    if _worth(counts, "over") or _worth(counts, "under"):
        found.append(f"log codes outside the curve's 0 to 1: {_shares(counts)}; {fate}")
    if counts["outside"]:
        found.append(
            f"{_share(counts, 'outside')} of pixels lie outside what the look spans and were clipped"
        )
    if _worth(pushed, "over") or _worth(pushed, "under"):
        layers = {
            "exposure": look.exposure,
            "white balance": look.white_balance,
            "printer points": look.printer_points,
        }
        names = " and ".join(name for name, there in layers.items() if there)
        found.append(f"pushed out of the encoding's 0 to 1 by {names}: {_shares(pushed)}; {fate}")
    return found


def _worth(counts: Mapping[str, int], name: str) -> bool:
    return counts[name] >= max(1, WORTH_SAYING * counts["pixels"])


def _share(counts: Mapping[str, int], name: str) -> str:
    share = counts[name] / max(1, counts["pixels"])
    return "under 0.01%" if 0 < share < WORTH_SAYING else f"{share:.2%}"


def _shares(counts: Mapping[str, int]) -> str:
    return f"{_share(counts, 'over')} of pixels above, {_share(counts, 'under')} below"
