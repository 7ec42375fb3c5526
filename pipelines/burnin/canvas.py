"""Overlays: white and black laid over a raster once, then drawn into any number of frames.

A canvas gathers everything that does not change. Its strokes, one set a kind of plane, hold only the samples that
change, so that a frame costs what is drawn and not what the raster holds. Blending is unsigned integer arithmetic at 16
bits, the same on every processor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.camera_encodings import Levels
from rushlight.pipelines.formats.pixel_formats import PixelFormat
from rushlight.pipelines.grading.grader import code_scale

__all__ = ["Canvas", "Ink", "Strokes", "draw", "graphics_white"]

ONE = 65536


@nb.njit(nogil=True, cache=True)
def _draw(plane, runs, keep, add, x, y):  # type: ignore[no-untyped-def]
    """plane * keep + add at 16 bits, over runs of (row, first column, samples, first index, is uniform)."""
    for run in range(runs.shape[0]):
        column, samples, index = runs[run, 1] + x, runs[run, 2], runs[run, 3]
        line = plane[runs[run, 0] + y, column : column + samples]
        if runs[run, 4]:
            stays, added = keep[index], add[index]
            for k in range(samples):
                line[k] = nb.uint32(nb.uint32(line[k]) * stays + added) >> nb.uint32(16)
        else:
            stay, adds = keep[index : index + samples], add[index : index + samples]
            for k in range(samples):
                line[k] = nb.uint32(nb.uint32(line[k]) * stay[k] + adds[k]) >> nb.uint32(16)


@dataclass(frozen=True, kw_only=True, eq=False)
class Strokes:
    """Strokes drawn over one plane: runs of samples; of each sample, the share that stays and what is added."""

    runs: NDArray[
        np.int32
    ]  # (n, 5): row, first column, samples, first index, whether all its samples are alike
    keep: NDArray[np.uint32]  # 16-bit shares
    add: NDArray[np.uint32]  # codes at 16 bits, a half for rounding included


def graphics_white(transfer: int) -> float:
    """The signal of white in graphics, by H.273 transfer: 203 cd/m2 in PQ and HLG (ITU-R BT.2408, table 1), else 1."""
    return {16: 0.58, 18: 0.75}.get(transfer, 1.0)


@dataclass(frozen=True, kw_only=True)
class Ink:
    """The codes of white, black and no colour in a pixel format; `white` as a share of the signal's range."""

    white: float
    black: float
    neutral: float

    @classmethod
    def of(cls, pixel_format: PixelFormat, levels: Levels, white: float = 1.0) -> Ink:
        unit, zero, _, neutral = code_scale(pixel_format.bits, levels)
        return cls(white=zero + white * unit, black=zero, neutral=neutral)


class Canvas:
    """Shares of the picture that stay and of white laid over it; the rest is black. float32 (height, width) each."""

    def __init__(self, width: int, height: int) -> None:
        self.keep = np.ones((height, width), np.float32)
        self.white = np.zeros((height, width), np.float32)

    def lay(
        self,
        ink: NDArray[np.float32],
        cover: NDArray[np.float32],
        x: int,
        y: int,
        opacity: float = 1.0,
    ) -> None:
        """Lay a mask (white `ink`, all that hides the picture `cover`) over what is there; cut at the edges."""
        height, width = self.keep.shape
        x0, y0, x1, y1 = max(x, 0), max(y, 0), min(x + ink.shape[1], width), min(y + ink.shape[0], height)
        if x0 >= x1 or y0 >= y1:
            return
        part = (slice(y0 - y, y1 - y), slice(x0 - x, x1 - x))
        stays = 1 - cover[part] * np.float32(opacity)
        here = (slice(y0, y1), slice(x0, x1))
        self.keep[here] *= stays
        self.white[here] = self.white[here] * stays + ink[part] * np.float32(opacity)

    @property
    def covered(self) -> NDArray[np.bool_]:
        """The pixels that are not left as they were."""
        return self.keep < 1 - 0.5 / ONE

    def strokes(self, pixel_format: PixelFormat, ink: Ink) -> tuple[Strokes, Strokes]:
        """For the first plane and for the two others of a format. Odd sizes are filled up with untouched samples."""
        sub_x, sub_y = pixel_format.sub_x, pixel_format.sub_y
        rows = np.flatnonzero((self.keep < 1).any(1))  # text touches few
        top, end = (int(rows[0]) // sub_y * sub_y, int(rows[-1]) + 1) if len(rows) else (0, 0)
        keep, white = self.keep[top:end], self.white[top:end]
        black = 1 - keep - white
        luma = _strokes(keep, white * ink.white + black * ink.black, top)
        if pixel_format.family == "rgb":
            return luma, luma
        filled = np.pad(keep, ((0, -len(keep) % sub_y), (0, -keep.shape[1] % sub_x)), constant_values=1)
        small = filled.reshape(len(filled) // sub_y, sub_y, filled.shape[1] // sub_x, sub_x).mean((1, 3))
        return luma, _strokes(small, (1 - small) * ink.neutral, top // sub_y)


def _strokes(keep: NDArray[np.float32], add: NDArray[np.float32], top: int) -> Strokes:
    shares = np.rint(keep.astype(np.float64) * ONE).astype(np.uint32)
    changed = shares < ONE
    edges = np.diff(np.pad(changed, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    rows, first = np.nonzero(edges == 1)
    lengths = np.nonzero(edges == -1)[1] - first
    index = np.cumsum(lengths) - lengths
    stays = shares[changed]
    added = np.rint(add[changed].astype(np.float64) * ONE).astype(np.uint32) + ONE // 2
    if not len(index):
        return Strokes(runs=np.zeros((0, 5), np.int32), keep=stays, add=added)
    same = np.ones(len(stays), np.bool_)
    same[1:] = (stays[1:] == stays[:-1]) & (added[1:] == added[:-1])
    same[index] = True
    uniform = np.logical_and.reduceat(same, index)
    runs = np.stack([rows + top, first, lengths, index, uniform], 1).astype(np.int32)
    return Strokes(runs=np.ascontiguousarray(runs), keep=stays, add=added)


def draw(
    planes: Sequence[NDArray[np.generic]],
    strokes: tuple[Strokes, Strokes],
    pixel_format: PixelFormat,
    x: int = 0,
    y: int = 0,
) -> None:
    """Draw strokes made for a format into its three planes (`whole_rows`) in place, moved by x, y: multiples of its
    subsampling. All of it must lie inside."""
    luma, chroma = strokes
    if pixel_format.family == "rgb":
        chroma, sub_x, sub_y = luma, 1, 1
    else:
        sub_x, sub_y = pixel_format.sub_x, pixel_format.sub_y
    _draw(planes[0], luma.runs, luma.keep, luma.add, x, y)
    for plane in planes[1:]:
        _draw(plane, chroma.runs, chroma.keep, chroma.add, x // sub_x, y // sub_y)
