"""Warnings on what a delivered picture shows: black frames, frozen stretches, clipped and over-range shares.

Only where the original was not so. None of them is a failure: a director may want a black frame.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.original import Counts
from rushlight.pipelines.counted import counted
from rushlight.pipelines.measure.original_baseline import runs

__all__ = ["Extremes", "colour_warnings", "extremes", "frame_warnings"]

Array = NDArray[np.float64]
Extremes = tuple[float, float]  # shares of a picture's pixels: clipped at white, beyond the signal's range

BLACK = 1.0  # of 255 above black: the mean of the brightest open cell
STILL = 0.1  # of 255: how little the cells of a frame that stands still move, dither and codec and all
STRETCH = 3  # frames that stand still in a row, while
MOVED = 0.5  # of 255: the log has the picture move by more, or the original's frames are missing
SHARE = 0.05  # of the pixels, more than in the original
WHITE, BEYOND = 1 - 0.5 / 255, 0.03  # of the display signal


def extremes(rgb: Array, open_: NDArray[np.bool_]) -> Extremes:
    """Shares of the display signal's pixels (h, w, 3), where `open_`, that lie at white and out of range."""
    red, green, blue = np.nan_to_num(rgb[open_]).T
    if not len(red):
        return 0.0, 0.0
    largest, least = np.maximum(np.maximum(red, green), blue), np.minimum(np.minimum(red, green), blue)
    beyond = (largest > 1 + BEYOND) | (least < -BEYOND)
    return float((least >= WHITE).mean()), float(beyond.mean())


def frame_warnings(found: Array, logged: Array, black_code: float, record: JobRecord) -> list[str]:
    """Of a movie's frames: cells' mean luma codes of 255 (frames, cells), as delivered and as made."""
    original = record.original
    if original is None or not original.seen:
        return []
    texts = []
    black = (found <= black_code + BLACK).all(1)
    if odd := runs(black & ~_marked(original.black, len(found))):
        texts.append(f"{_frames(odd)} black, and the original is not")
    still = np.concatenate([[False], (np.abs(np.diff(found, axis=0)) < STILL).all(1)])
    held = _marked(original.held, len(found))
    odd = [
        [first, last]
        for first, last in runs(still & ~black & ~_marked(original.repeated, len(found)))
        if last - first + 1 >= STRETCH
        and (np.ptp(logged[first - 1 : last + 1], axis=0).max() > MOVED or held[first : last + 1].all())
    ]
    if odd:
        texts.append(f"{_frames(odd)} frozen, and the original is not")
    return texts


def _marked(stretches: Sequence[Sequence[int]], count: int) -> NDArray[np.bool_]:
    marks = np.zeros(count, bool)
    for first, last in stretches:
        marks[first : last + 1] = True
    return marks


def _frames(stretches: Sequence[Sequence[int]]) -> str:
    count = sum(last - first + 1 for first, last in stretches)
    return f"{counted(count, 'frame')}, the first number {stretches[0][0]}, {'is' if count == 1 else 'are'}"


def colour_warnings(found: Sequence[Extremes], record: JobRecord) -> list[str]:
    """Of a movie's sampled frames: shares clipped and out of range, in the mean, against the original's."""
    if not found:
        return []
    clipped, beyond = (float(v) for v in np.mean(found, 0))
    counts = record.counts or Counts()
    had = record.original.clipped if record.original else None
    texts = []
    if had is not None and clipped > had + SHARE:
        texts.append(f"{clipped:.0%} of the pixels are clipped at white, of the original's {had:.0%}")
    had = (counts.over + counts.under) / max(1, counts.pixels)
    if beyond > had + SHARE:
        texts.append(f"{beyond:.0%} of the pixels are out of range, of the original's {had:.0%}")
    return texts
