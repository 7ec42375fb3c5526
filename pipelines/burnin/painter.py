"""Burn-in: text, running values, a watermark and guides, drawn straight into an output's planes.

What does not change is laid on one canvas when a clip begins; a running value is set from glyph cells of fixed width.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.burnin.canvas import Canvas, Ink, Strokes, draw
from rushlight.pipelines.burnin.frame_lines import draw_frame_lines
from rushlight.pipelines.burnin.guides import draw_guides
from rushlight.pipelines.burnin.text_fields import FIELDS, RUNNING, check_fields, fields_of, parse_template
from rushlight.pipelines.burnin.text_masks import (
    FONT,
    LIGHT_FONT,
    Mask,
    drawable,
    edge,
    line_height,
    text_mask,
    text_width,
)
from rushlight.pipelines.burnin.watermark import SHARE_OF_TILE, draw_watermark
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.formats.pixel_formats import PixelFormat, planes, whole_rows
from rushlight.pipelines.job.spec import FrameLine
from rushlight.pipelines.recipe.model import Burnin, Guides, TextLine

__all__ = ["FIELDS", "RUNNING", "Painter", "check_fields", "fields_of"]

MARGIN = 0.03  # of the raster's height, from each side
SMALLEST = 0.014  # text shrinks to this share of the raster's height before it is cut
SAMPLES = {"timecode": "00:00:00:00", "frame": "000000", "source_frame": "000000"}
ELLIPSIS = "..."
Box = tuple[int, int, int, int]


@dataclass(frozen=True, kw_only=True)
class _Piece:
    """A piece of a line: fixed text, or a running field and how many characters it has."""

    text: str = ""
    field: str = ""
    sample: str = ""


@dataclass(frozen=True, kw_only=True)
class _Line:
    """A line ready to be placed: `widths` of its pieces in pixels, `end` of the space before and after them."""

    style: TextLine
    font: str
    pieces: tuple[_Piece, ...]
    size: int
    end: int
    widths: tuple[int, ...]

    @property
    def width(self) -> int:
        return sum(self.widths) + 2 * self.end


@dataclass(frozen=True, kw_only=True, eq=False)
class _Running:
    """Places of a running value's characters, and how each is drawn there."""

    field: str
    places: tuple[int, ...]
    y: int
    cells: Mapping[str, tuple[Strokes, Strokes]]


class Painter:
    """Draws one output's burn-in over its frames.

    `fields` are the values that do not change; an unknown one is empty (`check_fields` refuses those beforehand).
    `longest` gives the number of characters to keep for a running value. `picture` is the area that guides refer to;
    `white` the signal that text has (`graphics_white` of the output's transfer); `lines` the frame lines of framing decisions.
    `covered` lists the rectangles (x, y, width, height) that may be touched; `warnings` what could not be drawn.
    """

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
        picture: Box | None = None,
        white: float = 1.0,
        lines: Sequence[FrameLine] = (),
    ) -> None:
        self.format, self.width, self.height = pixel_format, width, height
        self.warnings: list[str] = []
        self.covered: list[Box] = []
        self._ink = Ink.of(pixel_format, levels, white)
        self._running: list[_Running] = []
        self._cells: list[Box] = []
        self._values = {name.lower(): value for name, value in fields.items()}
        self._longest = dict(longest or {})
        self._font = (burnin.font if burnin else "") or FONT
        canvas = Canvas(width, height)
        below: list[Box] = []
        if guides:
            below += draw_guides(canvas, guides, picture or (0, 0, width, height))
        if lines:
            below += draw_frame_lines(canvas, lines, guides.opacity if guides else 1.0)
        if burnin:
            if burnin.watermark:
                below += self._watermark(canvas, burnin)
            self._lines(canvas, burnin)
        self.covered += below  # text first
        self._fixed = canvas.strokes(pixel_format, self._ink)
        self._touched = canvas.covered
        for x, y, wide, high in self._cells:
            self._touched[y : y + high, x : x + wide] = True

    def paint(self, frame: av.VideoFrame, running: Mapping[str, str]) -> None:
        """Draw over one frame, in place. `running` gives the values of the running fields that are shown.

        RushlightError where a value is longer than the room kept for it: a cut number would be a wrong one.
        """
        target = whole_rows(planes(frame))
        draw(target, self._fixed, self.format)
        for line in self._running:
            value, room = running[line.field], len(line.places)
            if line.field != "timecode":
                value = value.rjust(room, "0")
            if len(value) > room:
                raise RushlightError(f"burn-in: {line.field} {value!r} has no room in {room} characters")
            for character, x in zip(value, line.places, strict=False):
                draw(target, line.cells[character], self.format, x, line.y)

    def mask(self) -> NDArray[np.bool_]:
        """(height, width): the pixels that may be touched; exact for what does not change, whole cells for the rest."""
        return self._touched.copy()

    # --- setting up

    def _clean(self, text: str, font: str) -> tuple[str, str]:
        """The text as it can be drawn, and the font for it."""
        clean, lost, font = drawable(text, font)
        if lost:
            self.warnings.append(f"burn-in: cannot draw {lost!r} of {text!r}; shown as ?")
        return clean, font

    def _watermark(self, canvas: Canvas, burnin: Burnin) -> list[Box]:
        parts = parse_template(burnin.watermark)
        text = "".join(part.text or self._values.get(part.field, "") for part in parts)
        text, font = self._clean(
            text, burnin.font or LIGHT_FONT
        )  # the lighter cut covers less of the picture
        boxes, share = draw_watermark(canvas, text, burnin.watermark_opacity, font)
        if share > SHARE_OF_TILE:
            self.warnings.append(
                f"burn-in: at {self.width}x{self.height} the watermark covers {share:.0%} of a tile, more than a tenth"
            )
        if text.strip() and not boxes:
            self.warnings.append(
                f"burn-in: the watermark {text!r} is too long for the picture and was left out"
            )
        return boxes

    def _pieces(self, template: str) -> tuple[tuple[_Piece, ...], str]:
        """The pieces of a line, neighbouring texts joined, and the font that draws most of them."""
        parts = parse_template(template)
        fixed = "".join(
            part.text or self._values.get(part.field, "") for part in parts if part.field not in RUNNING
        )
        font = self._clean(fixed, self._font)[1]
        pieces: list[_Piece] = []
        for part in parts:
            if part.field in RUNNING:
                pieces.append(_Piece(field=part.field, sample=self._sample(part.field)))
                continue
            text = drawable(part.text or self._values.get(part.field, ""), font)[0]
            if pieces and not pieces[-1].field:
                text = pieces.pop().text + text
            if text:
                pieces.append(_Piece(text=text))
        return tuple(pieces), font

    def _sample(self, field: str) -> str:
        room = self._longest.get(field, len(SAMPLES[field]))
        return SAMPLES[field].ljust(room, "0") if field == "timecode" else "0" * room

    def _fitted(self, style: TextLine, room: int) -> _Line | None:
        """The line at its size, smaller if it is too long for the room, and cut if that is not enough."""
        pieces, font = self._pieces(style.text)
        size, smallest = max(8, round(style.size * self.height)), max(8, round(SMALLEST * self.height))
        line = _measured(style, pieces, size, font)
        while line.width > room and size > smallest:
            size -= 1
            line = _measured(style, pieces, size, font)
        if line.width > room:
            self.warnings.append(f"burn-in: {style.text!r} is too long for the picture and was cut")
        while line.width > room and line.pieces:
            *before, last = line.pieces
            text = last.text.removesuffix(ELLIPSIS)[:-1].rstrip()
            kept = [_Piece(text=text + ELLIPSIS)] if text else []
            line = _measured(style, (*before, *kept), size, font)
        return line if line.pieces else None

    def _lines(self, canvas: Canvas, burnin: Burnin) -> None:
        """Place all lines: those of one anchor read downwards, those side by side share the width."""
        margin = round(MARGIN * self.height)
        whole = self.width - 2 * margin
        columns: dict[str, set[str]] = {}
        for style in burnin.text:
            row, column = _cell_of(style.at)
            columns.setdefault(row, set()).add(column)
        groups: dict[str, list[_Line]] = {}
        for style in burnin.text:
            row, column = _cell_of(style.at)
            line = self._fitted(style, int(whole * _share(column, columns[row])))
            if line:
                groups.setdefault(style.at, []).append(line)
        for at, lines in groups.items():
            row, column = _cell_of(at)
            heights = [_even(line_height(line.size, line.font)) for line in lines]
            y = {"top": margin, "bottom": self.height - margin - sum(heights)}.get(
                row, (self.height - sum(heights)) // 2
            )
            for line, height in zip(lines, heights, strict=True):
                x = {"left": margin, "right": self.width - margin - line.width}.get(
                    column, (self.width - line.width) // 2
                )
                self._place(canvas, line, max(0, x) // 2 * 2, max(0, min(y, self.height - height)) // 2 * 2)
                y += height

    def _place(self, canvas: Canvas, line: _Line, x: int, y: int) -> None:
        style, size, font = line.style, line.size, line.font
        height = line_height(size, font)
        self.covered.append((x, y, line.width, height))
        self._lay(canvas, line, "", line.end, x, y)
        x += line.end
        for piece, width in zip(line.pieces, line.widths, strict=True):
            if piece.text:
                self._lay(canvas, line, piece.text, width, x, y)
                x += width
                continue
            self._cells.append((x, y, width, height))
            masks = {
                c: text_mask(c, size, font, style.backing, _cell_width(c, size, font)) for c in "0123456789:;"
            }
            places = []
            for character in piece.sample:
                places.append(x)
                x += _cell_width(character, size, font)
            self._running.append(
                _Running(
                    field=piece.field,
                    places=tuple(places),
                    y=y,
                    cells={c: self._cell(mask, style.opacity) for c, mask in masks.items()},
                )
            )
        self._lay(canvas, line, "", line.end, x, y)

    def _lay(self, canvas: Canvas, line: _Line, text: str, width: int, x: int, y: int) -> None:
        mask = text_mask(text, line.size, line.font, line.style.backing, width)
        canvas.lay(mask.ink, mask.cover, x, y, line.style.opacity)

    def _cell(self, mask: Mask, opacity: float) -> tuple[Strokes, Strokes]:
        canvas = Canvas(mask.width, mask.height)
        canvas.lay(mask.ink, mask.cover, 0, 0, opacity)
        return canvas.strokes(self.format, self._ink)


def _even(pixels: int) -> int:
    """Up to the next even number: chroma samples of a cell then lie where they do in the frame."""
    return pixels + pixels % 2


def _cell_width(character: str, size: int, font: str) -> int:
    alike = "0123456789" if character.isdigit() else ":;"
    return _even(max(text_width(c, size, font) for c in alike) + edge(size))


def _measured(style: TextLine, pieces: tuple[_Piece, ...], size: int, font: str) -> _Line:
    widths = tuple(
        sum(_cell_width(c, size, font) for c in piece.sample)
        if piece.field
        else _even(text_width(piece.text, size, font) + 2 * edge(size))
        for piece in pieces
    )
    return _Line(style=style, font=font, pieces=pieces, size=size, end=_even(edge(size)), widths=widths)


def _cell_of(at: str) -> tuple[str, str]:
    """Row and column of an anchor: top, middle or bottom; left, centre or right."""
    row = next((name for name in ("top", "bottom") if at.startswith(name)), "middle")
    column = next((name for name in ("left", "right") if at.endswith(name)), "centre")
    return row, column


def _share(column: str, used: set[str]) -> float:
    """Share of the width that a line may take beside its neighbours."""
    if len(used) == 1:
        return 1.0
    if "centre" not in used:
        return 0.49
    return 0.38 if column == "centre" else 0.30
