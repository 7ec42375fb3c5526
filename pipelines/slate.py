"""Burn-in: text, running values and a watermark drawn straight into an output's Y'CbCr planes.

Everything that does not change is drawn once into masks; a running value is laid from glyph cells of fixed
width. Blending is integer arithmetic at 16 bits, the same on every processor.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import av
import numba as nb
import numpy as np
from numpy.typing import NDArray
from rushlight.pipelines.engine import code_scale
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.pixels import PixelFormat, planes
from rushlight.pipelines.recipe import Burnin, Guides, TextLine
from rushlight.pipelines.text import FONT, Mask, blank, drawable, edge, line_height, text_mask, text_width

__all__ = ["FIELDS", "RUNNING", "Painter", "fields_of"]

RUNNING = ("timecode", "frame", "source_frame")
FIELDS = ("clip", "reel", "scene", "take", "camera", *RUNNING, "date", "look", "grade", "recipe", "note")
_FIELD = re.compile(r"\{([A-Za-z_][A-Za-z0-9_ ]*)\}")
MARGIN = 0.03  # of the raster's height, from each side
SMALLEST = 0.014
SHARE_OF_TILE = 0.1  # what a watermark may cover of a tile of the 16x9 grid


def fields_of(burnin: Burnin) -> tuple[str, ...]:
    """The names of the fields a burn-in shows, in order of first use."""
    texts = [line.text for line in burnin.text] + [burnin.watermark]
    return tuple(dict.fromkeys(name.lower() for text in texts for name in _FIELD.findall(text)))


def check_fields(burnin: Burnin, columns: Iterable[str], *, key: str) -> None:
    """RecipeError naming a field that neither exists nor is a column of the list."""
    known = {*FIELDS, *(c.lower() for c in columns)}
    for name in fields_of(burnin):
        if name not in known:
            raise RecipeError(
                f"{{{name}}} is no field; there are {', '.join('{' + f + '}' for f in FIELDS)} and the list's columns",
                key=key,
            )


@nb.njit(nogil=True, cache=True)
def _blend(plane, cover, paint, x, y):  # type: ignore[no-untyped-def]
    """plane * (1 - cover) + paint, at 16 bits; `cover` and `paint` are int32."""
    for row in range(cover.shape[0]):
        for column in range(cover.shape[1]):
            hidden = cover[row, column]
            if hidden:
                value = np.int64(plane[y + row, x + column]) * (65536 - hidden) + paint[row, column] + 32768
                plane[y + row, x + column] = value >> 16


@dataclass(frozen=True, kw_only=True, eq=False)
class _Stamp:
    """A mask made ready for three planes of one format: (cover, paint) at luma's and at chroma's size."""

    width: int
    height: int
    luma: tuple[NDArray[np.int32], NDArray[np.int32]]
    chroma: tuple[NDArray[np.int32], NDArray[np.int32]]


class Painter:
    """Draws one output's burn-in. `covered` lists the rectangles (x, y, w, h) it may touch; `warnings` what it could not draw."""

    def __init__(
        self,
        burnin: Burnin | None,
        pixel_format: PixelFormat,
        levels: Literal["narrow", "full"],
        width: int,
        height: int,
        fields: Mapping[str, str],
        *,
        longest: Mapping[str, int] | None = None,
        guides: Guides | None = None,
        picture: tuple[int, int, int, int] | None = None,
    ) -> None:
        self.format, self.width, self.height = pixel_format, width, height
        self.warnings: list[str] = []
        self.covered: list[tuple[int, int, int, int]] = []
        y_unit, y_zero, _, c_zero = code_scale(pixel_format.bits, levels)
        self._white, self._black, self._neutral = y_zero + y_unit, y_zero, c_zero
        self._fixed: list[tuple[_Stamp, int, int]] = []
        self._running: list[tuple[str, list[int], int, dict[str, _Stamp]]] = []
        self._fields = {k.lower(): v for k, v in fields.items()}
        self._longest = dict(longest or {})
        if guides:
            self._guides(guides, picture or (0, 0, width, height))
        if burnin:
            self._font = burnin.font or FONT
            if burnin.watermark:
                self._watermark(burnin)
            taken: dict[str, int] = {}
            for line in burnin.text:
                self._line(line, taken)

    # --- setting up

    def _drawn(self, text: str) -> str:
        clean, lost = drawable(text, self._font)
        if lost:
            self.warnings.append(f"burn-in: the font cannot draw {lost!r} of {text!r}; shown as ?")
        return clean

    def _filled(self, text: str) -> str:
        def value(match: re.Match[str]) -> str:
            name = match[1].lower()
            return match[0].lower() if name in RUNNING else self._fields.get(name, "")

        return _FIELD.sub(value, text)

    def _line(self, line: TextLine, taken: dict[str, int]) -> None:
        text = self._drawn(self._filled(line.text))
        size = max(8, round(line.size * self.height))
        room = self.width - 2 * round(MARGIN * self.height)
        if not line.at.endswith(("top", "bottom", "centre")):
            room = round(room * 0.49)
        parts = self._parts(text)
        smallest = max(8, round(SMALLEST * self.height))
        while self._length(parts, size) > room and size > smallest:
            size -= 1
        if self._length(parts, size) > room:
            self.warnings.append(f"burn-in: {text!r} is too long and was cut")
            while self._length(parts, size) > room and parts:
                kind, value = parts[-1]
                if kind or len(value) < 3:
                    parts.pop()
                else:
                    parts[-1] = (kind, value[:-2].rstrip("…") + "…")
        if not parts:
            return
        height = line_height(size)
        length = self._length(parts, size) + 2 * (edge(size) + 1)
        x, y = self._corner(line.at, min(length, self.width), height, taken)
        self.covered.append((x, y, min(length, self.width - x), height))
        for kind, value in parts:
            if kind:
                cells = self._cells(size, line)
                places, at = [], x
                for sample in self._sample(kind):
                    places.append(at)
                    at += cells[sample].width - 2 * (edge(size) + 1)
                self._running.append((kind, places, y, cells))
                x = at
            else:
                stamp = self._stamp(text_mask(value, size, self._font, line.backing), line.opacity)
                self._fixed.append((stamp, x, y))
                x += text_width(value, size, self._font)

    def _parts(self, text: str) -> list[tuple[str, str]]:
        """(running field, '') and ('', fixed text) in order."""
        parts = []
        for k, piece in enumerate(_FIELD.split(text)):
            if k % 2:
                parts.append((piece.lower(), ""))
            elif piece:
                parts.append(("", piece))
        return parts

    def _sample(self, kind: str) -> str:
        return "00:00:00:00" if kind == "timecode" else "0" * self._longest.get(kind, 6)

    def _cell_width(self, character: str, size: int) -> int:
        if character.isdigit():
            return max(text_width(d, size, self._font) for d in "0123456789")
        return max(text_width(c, size, self._font) for c in ":;")

    def _length(self, parts: list[tuple[str, str]], size: int) -> int:
        return sum(
            sum(self._cell_width(c, size) for c in self._sample(kind))
            if kind
            else text_width(value, size, self._font)
            for kind, value in parts
        )

    def _cells(self, size: int, line: TextLine) -> dict[str, _Stamp]:
        return {
            c: self._stamp(
                text_mask(c, size, self._font, line.backing, self._cell_width(c, size)), line.opacity
            )
            for c in "0123456789:;"
        }

    def _corner(self, at: str, width: int, height: int, taken: dict[str, int]) -> tuple[int, int]:
        margin = round(MARGIN * self.height)
        used = taken.get(at, 0)
        taken[at] = used + height
        if "left" in at:
            x = margin
        elif "right" in at:
            x = self.width - margin - width
        else:
            x = (self.width - width) // 2
        if at.startswith("top"):
            y = margin + used
        elif at.startswith("bottom"):
            y = self.height - margin - height - used
        else:
            y = (self.height - height) // 2 + used
        even = max(self.format.sub_x, self.format.sub_y, 2)
        return max(0, x) // even * even, max(0, y) // even * even

    def _watermark(self, burnin: Burnin) -> None:
        """Three times along a diagonal, as large as a tenth of each tile allows."""
        text = self._drawn(self._filled(burnin.watermark))
        font = burnin.font or "DroidSans"  # the lighter cut covers less of the picture
        size = round(0.075 * self.height)
        places = ((0.30, 0.27), (0.5, 0.5), (0.70, 0.73))
        while size > 8:
            mask = text_mask(text, size, font, "none")
            if mask.width < 0.6 * self.width and self._tile_share(mask, places) <= SHARE_OF_TILE:
                break
            size -= 1
        mask = text_mask(text, size, font, "none")
        stamp = self._stamp(mask, burnin.watermark_opacity)
        for fx, fy in places:
            x, y = self._centred(mask, fx, fy)
            self._fixed.append((stamp, x, y))
            self.covered.append((x, y, min(mask.width, self.width - x), min(mask.height, self.height - y)))

    def _centred(self, mask: Mask, fx: float, fy: float) -> tuple[int, int]:
        x = min(max(0, round(fx * self.width - mask.width / 2)), max(0, self.width - mask.width))
        y = min(max(0, round(fy * self.height - mask.height / 2)), max(0, self.height - mask.height))
        return x // 2 * 2, y // 2 * 2

    def _tile_share(self, mask: Mask, places: Iterable[tuple[float, float]]) -> float:
        canvas = np.zeros((self.height, self.width), np.float32)
        for fx, fy in places:
            x, y = self._centred(mask, fx, fy)
            part = mask.ink[: self.height - y, : self.width - x] > 0
            canvas[y : y + part.shape[0], x : x + part.shape[1]] = part
        worst = 0.0
        for rows in np.array_split(canvas, 9, 0):
            worst = max(worst, max(float(tile.mean()) for tile in np.array_split(rows, 16, 1)))
        return worst

    def _guides(self, guides: Guides, picture: tuple[int, int, int, int]) -> None:
        x0, y0, width, height = picture
        mask = blank(self.width, self.height)
        line = max(1, round(self.height / 540))
        if guides.aspect:
            if width / height > guides.aspect:
                inner_w, inner_h = round(height * guides.aspect), height
            else:
                inner_w, inner_h = width, round(width / guides.aspect)
            left, top = x0 + (width - inner_w) // 2, y0 + (height - inner_h) // 2
            if guides.shade:
                shaded = np.full_like(mask.cover, 0.0)
                shaded[y0 : y0 + height, x0 : x0 + width] = guides.shade
                shaded[top : top + inner_h, left : left + inner_w] = 0.0
                np.maximum(mask.cover, shaded, out=mask.cover)
            self._frame(mask, left, top, inner_w, inner_h, line, guides.opacity)
        for share in (guides.action_safe, guides.title_safe):
            if share:
                w, h = round(width * share), round(height * share)
                self._frame(mask, x0 + (width - w) // 2, y0 + (height - h) // 2, w, h, line, guides.opacity)
        if guides.centre:
            arm = height // 30
            cx, cy = x0 + width // 2, y0 + height // 2
            for part in (mask.ink, mask.cover):
                part[cy - line // 2 : cy - line // 2 + line, cx - arm : cx + arm] = guides.opacity
                part[cy - arm : cy + arm, cx - line // 2 : cx - line // 2 + line] = guides.opacity
        rows, _columns = np.nonzero(mask.cover)
        if len(rows):
            self._fixed.append((self._stamp(mask, 1.0), 0, 0))
            self.covered += _rectangles(mask.cover > 0)

    def _frame(self, mask: Mask, x: int, y: int, w: int, h: int, line: int, opacity: float) -> None:
        for part in (mask.ink, mask.cover):
            part[y : y + line, x : x + w] = opacity
            part[y + h - line : y + h, x : x + w] = opacity
            part[y : y + h, x : x + line] = opacity
            part[y : y + h, x + w - line : x + w] = opacity

    def _stamp(self, mask: Mask, opacity: float) -> _Stamp:
        sub_x, sub_y = self.format.sub_x, self.format.sub_y
        height, width = -(-mask.height // sub_y) * sub_y, -(-mask.width // sub_x) * sub_x
        pad = ((0, height - mask.height), (0, width - mask.width))
        ink, cover = np.pad(mask.ink, pad) * opacity, np.pad(mask.cover, pad) * opacity
        small = cover.reshape(height // sub_y, sub_y, width // sub_x, sub_x).mean((1, 3))
        paint = ink * self._white + (cover - ink) * self._black
        return _Stamp(
            width=mask.width,
            height=mask.height,
            luma=(_sixteen(cover), _sixteen(paint)),
            chroma=(_sixteen(small), _sixteen(small * self._neutral)),
        )

    # --- painting

    def paint(self, frame: av.VideoFrame, running: Mapping[str, str]) -> None:
        """Draw over one frame, in place. `running` gives the values of `timecode`, `frame` and `source_frame`."""
        target = planes(frame)
        for stamp, x, y in self._fixed:
            self._lay(target, stamp, x, y)
        for name, places, y, cells in self._running:
            value = running[name]
            if name != "timecode":
                value = value.rjust(len(places), "0")
            for character, x in zip(value, places, strict=False):
                self._lay(target, cells[character], x, y)

    def _lay(self, target: list[NDArray[np.generic]], stamp: _Stamp, x: int, y: int) -> None:
        sub_x, sub_y = self.format.sub_x, self.format.sub_y
        for index, plane in enumerate(target):
            cover, paint = stamp.luma if index == 0 else stamp.chroma
            px, py = (x, y) if index == 0 else (x // sub_x, y // sub_y)
            rows, columns = plane.shape[0] - py, plane.shape[1] - px
            if rows > 0 and columns > 0:
                _blend(plane, cover[:rows, :columns], paint[:rows, :columns], px, py)


def _sixteen(values: NDArray[np.floating]) -> NDArray[np.int32]:
    return np.ascontiguousarray(np.rint(values.astype(np.float64) * 65536), np.int32)


def _rectangles(mask: NDArray[np.bool_]) -> list[tuple[int, int, int, int]]:
    """A few rectangles that hold all of a mask: one for each run of rows that are alike."""
    found: list[tuple[int, int, int, int]] = []
    start, last = 0, None
    for y in range(mask.shape[0] + 1):
        row = mask[y].tobytes() if y < mask.shape[0] else None
        if row != last:
            if last is not None:
                line = mask[start]
                edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
                found += [
                    (int(a), start, int(b - a), y - start)
                    for a, b in zip(edges[::2], edges[1::2], strict=True)
                ]
            start, last = y, row
    return found
