"""Guides over a picture: a shaded mask with its frame, safe areas, a centre cross."""

from __future__ import annotations

import numpy as np

from rushlight.pipelines.burnin.canvas import Canvas
from rushlight.pipelines.recipe.model import Guides

__all__ = ["draw_guides"]

Box = tuple[int, int, int, int]


def draw_guides(canvas: Canvas, guides: Guides, picture: Box) -> list[Box]:
    """Draw on the canvas, over the picture's area (x, y, width, height); gives the rectangles that were drawn on."""
    x0, y0, width, height = picture
    line = max(1, round(canvas.keep.shape[0] / 540))
    boxes: list[Box] = []

    def bar(x: int, y: int, w: int, h: int, white: float, opacity: float) -> None:
        if w > 0 and h > 0:
            cover = np.ones((h, w), np.float32)
            canvas.lay(cover * np.float32(white), cover, x, y, opacity)
            boxes.append((x, y, w, h))

    def frame(x: int, y: int, w: int, h: int) -> None:
        bar(x, y, w, line, 1.0, guides.opacity)
        bar(x, y + h - line, w, line, 1.0, guides.opacity)
        bar(x, y + line, line, h - 2 * line, 1.0, guides.opacity)
        bar(x + w - line, y + line, line, h - 2 * line, 1.0, guides.opacity)

    if guides.aspect:
        wide = width / height > guides.aspect
        w, h = (round(height * guides.aspect), height) if wide else (width, round(width / guides.aspect))
        left, top = (width - w) // 2, (height - h) // 2
        if guides.shade:
            bar(x0, y0, width, top, 0.0, guides.shade)
            bar(x0, y0 + top + h, width, height - top - h, 0.0, guides.shade)
            bar(x0, y0 + top, left, h, 0.0, guides.shade)
            bar(x0 + left + w, y0 + top, width - left - w, h, 0.0, guides.shade)
        frame(x0 + left, y0 + top, w, h)
    for share in (guides.action_safe, guides.title_safe):
        if share:
            w, h = round(width * share), round(height * share)
            frame(x0 + (width - w) // 2, y0 + (height - h) // 2, w, h)
    if guides.centre:
        arm, cx, cy = height // 30, x0 + width // 2, y0 + height // 2
        bar(cx - arm, cy - line // 2, 2 * arm, line, 1.0, guides.opacity)
        bar(cx - line // 2, cy - arm, line, arm - line // 2, 1.0, guides.opacity)
        bar(cx - line // 2, cy - line // 2 + line, line, arm - line // 2, 1.0, guides.opacity)
    return boxes
