"""A watermark: letters along the picture's rising diagonal, as large as a tenth of each tile of a 16x9 grid allows.

The tenth keeps enough of every tile open for the colour to be measured on a delivered file. White with a dark hairline,
so that it shows on white and on black.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.burnin.canvas import Canvas
from rushlight.pipelines.burnin.text_masks import Mask, text_mask, text_width

__all__ = ["SHARE_OF_TILE", "draw_watermark"]

SHARE_OF_TILE = 0.1
REACH = 0.74  # of the diagonal that the letters spread over
LARGEST, SMALLEST = 0.17, 8  # letter size: a share of the raster's height, and pixels
STEP = 0.95
WIDEST_GAP = 0.14  # between letters, of the raster's height

Box = tuple[int, int, int, int]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Letter:
    mask: Mask
    x: int
    y: int


def draw_watermark(canvas: Canvas, text: str, opacity: float, font: str) -> tuple[list[Box], float]:
    """Draw on the canvas; gives a rectangle (x, y, width, height) about each letter, and the worst tile's share.

    On a small raster the share may have to be larger than a tenth: a watermark that was asked for is drawn all the
    same. No rectangle at all where the text is too long for the picture.
    """
    height, width = canvas.keep.shape
    letters = _letters(text, width, height, font)
    for letter in letters:
        canvas.lay(letter.mask.ink, letter.mask.cover, letter.x, letter.y, opacity)
    boxes = []
    for letter in letters:
        x0, y0 = max(letter.x, 0), max(letter.y, 0)
        x1, y1 = min(letter.x + letter.mask.width, width), min(letter.y + letter.mask.height, height)
        if x0 < x1 and y0 < y1:
            boxes.append((x0, y0, x1 - x0, y1 - y0))
    return boxes, worst_share(letters, width, height) if letters else 0.0


@lru_cache(maxsize=16)
def _letters(text: str, width: int, height: int, font: str) -> tuple[_Letter, ...]:
    """The largest letters that keep within a tenth of every tile, or the smallest if none do.

    Sizes fall by a twentieth. Shares fall at most with the square of the size, so that sizes at which even that leaves a
    fifth too much are passed over undrawn.
    """
    size = LARGEST * height
    while size > SMALLEST:
        letters = _placed(text, round(size), width, height, font)
        share = worst_share(letters, width, height) if letters else 0.0
        if letters and share <= SHARE_OF_TILE:
            return letters
        drawn = size
        size *= STEP
        while share * (size / drawn) ** 2 > 1.2 * SHARE_OF_TILE:
            size *= STEP
    return _placed(text, SMALLEST, width, height, font)


def worst_share(letters: tuple[_Letter, ...], width: int, height: int) -> float:
    """The largest share of a tile that is touched."""
    touched = np.zeros((height, width), np.bool_)
    for letter in letters:
        x0, y0 = max(letter.x, 0), max(letter.y, 0)
        part = letter.mask.cover[y0 - letter.y : height - letter.y, x0 - letter.x : width - letter.x] > 0
        touched[y0 : y0 + part.shape[0], x0 : x0 + part.shape[1]] |= part
    return max(
        float(tile.mean()) for rows in np.array_split(touched, 9, 0) for tile in np.array_split(rows, 16, 1)
    )


def _placed(text: str, size: int, width: int, height: int, font: str) -> tuple[_Letter, ...]:
    """Letters of that size spread over the diagonal; none if they would run into each other."""
    diagonal = float(np.hypot(width, height))
    advances = [text_width(c, size, font) for c in text]
    spare = REACH * diagonal - sum(advances)
    if not text or spare < 0:
        return ()
    gap = min(spare / max(len(text) - 1, 1), WIDEST_GAP * height)
    at = -(sum(advances) + gap * (len(text) - 1)) / 2
    slope = (width / diagonal, -height / diagonal)
    found = []
    for character, advance in zip(text, advances, strict=True):
        middle = at + advance / 2
        at += advance + gap
        if character.isspace():
            continue
        mask = _turned(character, size, font, float(np.arctan2(height, width)))
        x = round(width / 2 + middle * slope[0] - mask.width / 2)
        y = round(height / 2 + middle * slope[1] - mask.height / 2)
        found.append(_Letter(mask=mask, x=x, y=y))
    return tuple(found)


def _turned(character: str, size: int, font: str, angle: float) -> Mask:
    """A letter turned anticlockwise by `angle` radians, cut to what it touches."""
    upright = text_mask(character, size, font, "hairline")
    side = int(np.ceil(np.hypot(upright.width, upright.height))) + 2
    rows, columns = np.mgrid[0:side, 0:side] - (side - 1) / 2
    c, s = np.cos(angle), np.sin(angle)
    x = c * columns - s * rows + (upright.width - 1) / 2
    y = s * columns + c * rows + (upright.height - 1) / 2
    ink, cover = (_sampled(part, x, y) for part in (upright.ink, upright.cover))
    held = np.argwhere(cover > 0)
    if not len(held):
        return Mask(ink=ink[:1, :1], cover=cover[:1, :1])
    (top, left), (bottom, right) = held.min(0), held.max(0) + 1
    return Mask(ink=ink[top:bottom, left:right], cover=cover[top:bottom, left:right])


def _sampled(
    values: NDArray[np.float32], x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Values between samples, bilinear; nothing outside. Less than a hundredth of cover is dropped."""
    padded = np.pad(values.astype(np.float64), 1)
    x, y = np.clip(x + 1, 0, padded.shape[1] - 1.001), np.clip(y + 1, 0, padded.shape[0] - 1.001)
    column, row = x.astype(np.intp), y.astype(np.intp)
    u, v = x - column, y - row
    upper = padded[row, column] * (1 - u) + padded[row, column + 1] * u
    lower = padded[row + 1, column] * (1 - u) + padded[row + 1, column + 1] * u
    mixed = upper * (1 - v) + lower * v
    return np.where(mixed < 0.01, 0, mixed).astype(np.float32)
