"""The slate card: a still of the clip, its facts, and the 24-patch chart and a ramp through the clip's look.

Composed as display R'G'B', to be encoded as any other picture of that display. Our own layout:

    +---------------------------------------------+
    | A001C003                                    |
    | +-----------------------+  Reel   A001      |
    | |                       |  Scene  41        |
    | |         still         |  ...              |
    | |                       |  [][][][][][]     |
    | |                       |  [][][][][][]     |
    | +-----------------------+  [][][][][][]     |
    | -6 |  |  |  |  | 0 |  |  [][][][][][]  +6   |
    +---------------------------------------------+
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.burnin.canvas import graphics_white
from rushlight.pipelines.burnin.text_masks import (
    FONT,
    LIGHT_FONT,
    drawable,
    line_height,
    text_mask,
    text_width,
)
from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.look import Look, State

__all__ = ["RAMP_STOPS", "Card", "slate_card"]

RAMP_STOPS = tuple(range(-7, 7))  # about 18 % grey
GROUND, LABEL, RULE = 0.10, 0.55, 0.30  # shares of graphics white
Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Card:
    """A card's picture, display R'G'B' (h, w, 3) in 0..1, and what could not be drawn on it as given."""

    picture: Array
    warnings: tuple[str, ...]


def chart_and_ramp(look: Look, state: State) -> tuple[Array, Array, Array]:
    """R'G'B' of the 24 patches (24, 3), of greys at `RAMP_STOPS` (n, 3), and of the signal from 0 to 1 (256, 3).

    The patches and stops are what the camera would have recorded of them: ACES2065-1 in the look's own encoding.
    """
    greys = 0.18 * 2.0 ** np.array(RAMP_STOPS, np.float64)
    ap0 = np.concatenate([np.array(list(PATCHES.values())), np.repeat(greys[:, None], 3, 1)])
    signal = np.concatenate([look.working.from_ap0(ap0), np.repeat(np.linspace(0, 1, 256)[:, None], 3, 1)])
    rgb = np.clip(look.evaluate(signal, state), 0, 1)
    ends = len(PATCHES), len(PATCHES) + len(greys)
    return rgb[: ends[0]], rgb[ends[0] : ends[1]], rgb[ends[1] :]


def slate_card(
    width: int,
    height: int,
    *,
    title: str,
    facts: Sequence[tuple[str, str]],
    look: Look,
    state: State = "graded",
    still: Array | None = None,
    font: str = "",
) -> Card:
    """The card of one clip. `still` is display R'G'B' (h, w, 3) of any size; `facts` are (label, value) pairs, those
    without a value left out. Text that is too long is made smaller, then cut and reported; NaN in the still is black."""
    drawing = _Drawing(width, height, font, graphics_white(look.display.transfer))
    patches, stops, signal = chart_and_ramp(look, state)
    margin = round(0.055 * min(width, height))
    size = max(10, round(0.062 * height))
    drawing.text(title, margin, margin - size // 4, size, 1.0, width - 2 * margin)
    top = margin + round(1.15 * size)
    drawing.block(margin, top, width - 2 * margin, max(1, height // 540), RULE)
    top += round(0.03 * height)
    ramp_height = round(0.11 * height)
    bottom = height - margin - ramp_height - round(0.045 * height)
    left_width = round(0.61 * (width - 2 * margin))
    drawing.still(still, margin, top, left_width, bottom - top)
    x, room = margin + left_width + margin // 2, width - margin - (margin + left_width + margin // 2)
    chart_height = min(round(room * 4 / 6), round(0.40 * (bottom - top)))
    drawing.facts(facts, x, top, room, bottom - top - chart_height - margin // 2)
    drawing.chart(patches, x, bottom - chart_height, room, chart_height)
    drawing.ramp(stops, signal, margin, height - margin - ramp_height, width - 2 * margin, ramp_height)
    return Card(picture=drawing.picture, warnings=tuple(drawing.warnings))


class _Drawing:
    """A picture being composed. Positions and sizes in pixels, greys as shares of graphics white."""

    def __init__(self, width: int, height: int, font: str, white: float) -> None:
        self.white, self.bold, self.plain = white, font or FONT, font or LIGHT_FONT
        self.picture: Array = np.full((height, width, 3), GROUND * white)
        self.warnings: list[str] = []

    def block(self, x: int, y: int, w: int, h: int, value: float | Array) -> None:
        colour = value * self.white if isinstance(value, float) else value
        self.picture[max(y, 0) : max(y + h, 0), max(x, 0) : max(x + w, 0)] = colour

    def text(
        self,
        text: str,
        x: int,
        y: int,
        size: int,
        value: float,
        room: int,
        *,
        bold: bool = True,
        middle: bool = False,
    ) -> None:
        """One line with its top at y, within `room`; `middle` sets it about x."""
        clean, lost, font = drawable(text, self.bold if bold else self.plain)
        if lost:
            self.warnings.append(f"slate card: cannot draw {lost!r} of {text!r}; shown as ?")
        asked, smallest = size, max(8, round(0.55 * size))
        while text_width(clean, size, font) > room and size > smallest:
            size -= 1
        if text_width(clean, size, font) > room:
            self.warnings.append(f"slate card: {text!r} is too long and was cut")
            while clean and text_width(clean + "...", size, font) > room:
                clean = clean[:-1].rstrip()
            clean += "..."
        if not clean or text_width(clean, size, font) > room:
            return
        ink = text_mask(clean, size, font, "none").ink
        y += round(
            0.78 * (line_height(asked, font) - line_height(size, font))
        )  # on one base with its neighbours
        x -= ink.shape[1] // 2 if middle else 0
        x, y = max(x, 0), max(y, 0)
        here = self.picture[y : y + ink.shape[0], x : x + ink.shape[1]]
        share = ink[: here.shape[0], : here.shape[1], None].astype(np.float64)
        here[:] = here * (1 - share) + value * self.white * share

    def still(self, still: Array | None, x: int, y: int, w: int, h: int) -> None:
        """The still as large as fits, its shape kept, from the top; a black field where there is none."""
        import OpenImageIO as oiio

        if still is None:
            self.block(x, y, w, h, 0.0)
        if still is None or w < 1 or h < 1:
            return
        scale = min(w / still.shape[1], h / still.shape[0])
        wide, high = max(1, round(still.shape[1] * scale)), max(1, round(still.shape[0] * scale))
        values = np.clip(np.nan_to_num(still, nan=0.0, posinf=1.0, neginf=0.0), 0, 1)
        source = oiio.ImageBuf(np.ascontiguousarray(values, np.float32))
        small = oiio.ImageBufAlgo.resize(source, roi=oiio.ROI(0, wide, 0, high, 0, 1, 0, 3))
        x += (w - wide) // 2
        self.picture[y : y + high, x : x + wide] = np.clip(np.asarray(small.get_pixels(oiio.FLOAT)), 0, 1)

    def facts(self, facts: Sequence[tuple[str, str]], x: int, y: int, w: int, h: int) -> None:
        """Label and value a line; as many as have room, and a warning for the others."""
        shown = [(label, value) for label, value in facts if value]
        if not shown:
            return
        full = max(9, 0.038 * self.picture.shape[0])
        size, smallest = round(full), max(8, round(0.5 * full))
        while size > smallest and line_height(size, self.plain) * len(shown) > h:
            size -= 1
        pitch = line_height(size, self.plain)
        fitting = max(0, h // pitch)
        if fitting < len(shown):
            self.warnings.append(
                f"slate card: no room for {', '.join(label for label, _ in shown[fitting:])}"
            )
        shown = shown[:fitting]
        column = max((text_width(label, size, self.plain) for label, _ in shown), default=0)
        column = min(column + size, round(0.4 * w))
        for label, value in shown:
            self.text(label, x, y, size, LABEL, column - size // 3, bold=False)
            self.text(value, x + column, y, size, 1.0, w - column)
            y += pitch

    def chart(self, patches: Array, x: int, y: int, w: int, h: int) -> None:
        """Six patches by four, square, a black card behind them."""
        side = min(w / (6 + 7 * 0.12), h / (4 + 5 * 0.12))
        if side < 2:
            return
        gap = 0.12 * side
        self.block(x, y, round(6 * side + 7 * gap), round(4 * side + 5 * gap), 0.0)
        for k, patch in enumerate(patches):
            x0, y0 = x + gap + (k % 6) * (side + gap), y + gap + (k // 6) * (side + gap)
            self.block(round(x0), round(y0), round(side), round(side), patch)

    def ramp(self, stops: Array, signal: Array, x: int, y: int, w: int, h: int) -> None:
        """Greys a stop apart with their numbers; below them the whole signal from 0 to 1."""
        edges = np.rint(np.linspace(x, x + w, len(stops) + 1)).astype(int)
        half = round(0.62 * h)
        size = max(8, round(0.20 * h))
        for stop, value, left, right in zip(RAMP_STOPS, stops, edges, edges[1:], strict=False):
            self.block(int(left), y, int(right - left), half, value)
            text = "18 %" if stop == 0 else f"{stop:+d}"
            self.text(
                text,
                int(left + right) // 2,
                y - round(1.35 * size),
                size,
                LABEL,
                int(right - left),
                bold=False,
                middle=True,
            )
        at = np.linspace(0, 1, w)
        line = np.stack([np.interp(at, np.linspace(0, 1, len(signal)), signal[:, k]) for k in range(3)], -1)
        self.picture[y + half : y + h, x : x + w] = line
