"""Frame lines of framing decisions: what is framed as a line with its name, what is protected as a dashed one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.pipelines.burnin.canvas import Canvas
from rushlight.pipelines.burnin.text_masks import FONT, drawable, text_mask
from rushlight.pipelines.job.spec import FrameLine

__all__ = ["draw_frame_lines"]

Box = tuple[int, int, int, int]
DASH, GAP = 12, 8  # in widths of the line
EDGE = 0.6  # how dark the edge is
LABEL = 0.022  # of the raster's height


def draw_frame_lines(canvas: Canvas, lines: Sequence[FrameLine], opacity: float = 1.0) -> list[Box]:
    """Draw on the canvas, inside each line's box: white with a dark edge inside, to be seen on any picture; gives the rectangles
    that were drawn on. What lies outside of the raster is not drawn. Each name stands in the box's lower left corner, above those
    that stand there already."""
    boxes: list[Box] = []
    height = canvas.keep.shape[0]
    thick = max(1, round(height / 540))
    named: dict[tuple[int, int], int] = {}
    for line in lines:
        white = (line.x, line.y, line.width, line.height)
        boxes += _frame(canvas, white, thick, 1.0, opacity, thick if line.dashed else 0)
        dark = (line.x + thick, line.y + thick, line.width - 2 * thick, line.height - 2 * thick)
        boxes += _frame(canvas, dark, max(1, thick // 2), 0.0, EDGE * opacity, thick if line.dashed else 0)
        if line.label:
            corner = (max(line.x, 0), min(line.y + line.height, height))
            boxes += _label(canvas, line.label, corner, named.get(corner, 0), thick)
            named[corner] = named.get(corner, 0) + 1
    return boxes


def _frame(canvas: Canvas, box: Box, thick: int, ink: float, opacity: float, dash: int) -> list[Box]:
    """The four sides of a box, which meet and nowhere overlap; with `dash` in pieces, of so many pixels as a unit."""
    x, y, w, h = box
    sides = (
        (x, y, w, thick),
        (x, y + h - thick, w, thick),
        (x, y + thick, thick, h - 2 * thick),
        (x + w - thick, y + thick, thick, h - 2 * thick),
    )
    boxes: list[Box] = []
    for left, top, wide, high in sides:
        inside = _inside((left, top, wide, high), canvas.keep.shape[1], canvas.keep.shape[0])
        if inside is None:
            continue
        cover = np.ones((high, wide), np.float32)
        if dash:
            along = np.arange(max(wide, high)) % ((DASH + GAP) * dash) < DASH * dash
            cover *= along[None, :wide] if wide > high else along[:high, None]
        canvas.lay(cover * np.float32(ink), cover, left, top, opacity)
        boxes.append(inside)
    return boxes


def _inside(box: Box, width: int, height: int) -> Box | None:
    """The part of a rectangle that lies in the raster; None where there is none."""
    x0, y0 = max(box[0], 0), max(box[1], 0)
    x1, y1 = min(box[0] + box[2], width), min(box[1] + box[3], height)
    return (x0, y0, x1 - x0, y1 - y0) if x1 > x0 and y1 > y0 else None


def _label(canvas: Canvas, text: str, corner: tuple[int, int], before: int, thick: int) -> list[Box]:
    """A name beside the lower left corner of a line; none where it has no room."""
    height, width = canvas.keep.shape
    size = max(8, round(LABEL * height))
    clean, _, font = drawable(text, FONT)
    mask = text_mask(clean, size, font)
    x, y = corner[0] + 3 * thick, corner[1] - 3 * thick - mask.height * (before + 1)
    box = (x, y, mask.width, mask.height)
    if _inside(box, width, height) != box:
        return []
    canvas.lay(mask.ink, mask.cover, x, y)
    return [box]
