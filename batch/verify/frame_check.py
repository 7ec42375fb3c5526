"""Every frame in its place: the mean luma of sixteen parts of each picture against what was logged as it was made."""

from __future__ import annotations

from typing import NotRequired, TypedDict

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.shape import box_of
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.pipelines.counted import counted
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.measure import colour_tiles
from rushlight.pipelines.measure.luma_grid import luma_grid
from rushlight.pipelines.originals.probe import Facts

__all__ = ["LUMA_TOLERANCE", "frame_check", "open_cells"]

Array = NDArray[np.float64]
LUMA_TOLERANCE = (
    1.0  # of 255: how far a frame's mean luma may be from the logged one in any quarter of a quarter
)


# How far off a low quality may have it, by the least pixels of a raster: from 960x540 on it keeps the tolerance.
_COARSE = ((960 * 540, LUMA_TOLERANCE), (640 * 360, 2.0), (320 * 180, 3.0), (0, 6.0))


class _Counted(TypedDict):
    """Figures of the check of frames, by their names in the verdict."""

    found: int
    logged: int
    worst_luma: NotRequired[float]


def frame_check(
    count: int, damaged: int, found: Array, logged: Array | None, entry: DeliveredMovie, facts: Facts
) -> CheckVerdict:
    """The frames of a movie: `count` as delivered, `damaged` of them, and luma codes (frames, 16) as found and as logged."""
    figures: _Counted = {"found": count, "logged": entry.frames}
    if damaged:
        return CheckVerdict(
            verdict="fail", text=f"{counted(damaged, 'frame')} with errors of decoding", **figures
        )
    if count != entry.frames:
        return CheckVerdict(verdict="fail", text=f"{count} frames, should be {entry.frames}", **figures)
    if logged is None or len(logged) != len(found):
        return CheckVerdict(
            verdict="warn",
            text="the frames' side file is gone or short; only their number was checked",
            **figures,
        )
    cells = open_cells(entry)
    scale = 2.0 ** (8 - facts.pixel_format.bits)
    off = np.abs(found - logged) * scale - 255 * _covered_shares(entry)  # what burn-in may add to a cell
    figures["worst_luma"] = round(max(0.0, float(off.max())), 3)
    still = _stood_still(found[:, cells] * scale, logged[:, cells] * scale, entry) if cells else False
    wrong = np.flatnonzero((off.max(1) > LUMA_TOLERANCE) | still)
    if len(wrong) and not np.any(still) and _coarse(found * scale, logged * scale, off, entry):
        text = (
            f"luma is off by up to {figures['worst_luma']:.2f} codes in a sixteenth of a picture, where {LUMA_TOLERANCE:g} is the "
            f"limit; at {entry.width}x{entry.height} a low quality alone does that, so only the number of frames was checked"
        )
        return CheckVerdict(verdict="cannot tell", text=text, **figures)
    if len(wrong):
        return CheckVerdict(
            verdict="fail",
            text=f"{counted(len(wrong), 'frame')} not in the right place, the first number {wrong[0]}",
            **figures,
        )
    return CheckVerdict(verdict="pass", text="", **figures)


def _coarse(found: Array, logged: Array, off: Array, entry: DeliveredMovie) -> bool:
    """True if luma is off as a long-GOP codec's low quality has it at a small raster, and as no wrong frame has.

    Measured on h264 and hevc up to quality 36: all frames are off alike (the worst 1.8 times the middle one), a whole picture
    by half a code at most, and no other frame of the clip fits 1.6 times as well. A frame that is wrong, lost, swapped
    or lifted breaks one of these.
    """
    worst = off.max(1)
    bound = next(most for pixels, most in _COARSE if entry.width * entry.height >= pixels)
    if codec(entry.codec).intra or worst.max() > min(bound, 3 * max(float(np.median(worst)), 0.3)):
        return False
    if np.abs((found - logged).mean(1)).max() > LUMA_TOLERANCE:
        return False
    for number, picture in enumerate(found):
        apart = np.sqrt(((logged - picture) ** 2).mean(1))
        if apart.min() < apart[number] / 2:
            return False
    return True


def _stood_still(found: Array, logged: Array, entry: DeliveredMovie) -> NDArray[np.bool_]:
    """Frames that are the one before over again, where the log has the picture move.

    Intra codecs follow the smallest change (they kept 0.83 of it or more, measured); long-GOP ones let a small
    one stand, so there only a change of a whole code counts.
    """
    least = 0.02 if codec(entry.codec).intra else 1.0
    moved, made = np.abs(np.diff(found, axis=0)).max(1), np.abs(np.diff(logged, axis=0)).max(1)
    return np.concatenate([[False], (made > least) & (moved < made / 10)])


def _covered_shares(entry: DeliveredMovie) -> Array:
    """The share of each of the sixteen luma cells that burn-in covers."""
    _, _, width, height = picture = box_of(entry.picture)
    covered = [box_of(c) for c in entry.covered]
    open_ = colour_tiles.uncovered(entry.width, entry.height, picture, covered)
    grid = luma_grid(np.where(open_, 255, 0).astype(np.uint8), (0, 0, width, height))
    return 1 - np.array(grid) / 255


def open_cells(entry: DeliveredMovie) -> list[int]:
    """The luma cells, of sixteen, that burn-in leaves alone."""
    return np.flatnonzero(_covered_shares(entry) == 0).tolist()
