"""Text to masks: white ink and the dark edge or box behind it, as shares of cover from 0 to 1.

Drawn by OpenImageIO with the font it ships (Droid Sans: Latin, Greek, Cyrillic) or one that is given. What a font
cannot draw is told, and never drawn as a box.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from rushlight.pipelines.errors import RecipeError

__all__ = ["FONT", "Mask", "blank", "drawable", "text_mask", "text_width"]

FONT = "DroidSans-Bold"
Array = NDArray[np.float32]
STAND_IN = "?"


@dataclass(frozen=True, kw_only=True, eq=False)
class Mask:
    """`ink` is white, `cover` everything that hides the picture (ink included); both (h, w) float32 in 0..1."""

    ink: Array
    cover: Array

    @property
    def width(self) -> int:
        return int(self.ink.shape[1])

    @property
    def height(self) -> int:
        return int(self.ink.shape[0])


@lru_cache(maxsize=8)
def _glyphs(font: str) -> frozenset[int]:
    """Code points a font draws. RecipeError where there is no such font."""
    from fontTools.ttLib import TTFont, TTLibError

    path = font_file(font)
    try:
        with TTFont(str(path), lazy=True, fontNumber=0) as file:
            return frozenset(file.getBestCmap() or ())
    except (TTLibError, OSError) as error:
        raise RecipeError(f"font {font!r} cannot be read: {error}", key="font") from None


def font_file(font: str) -> Path:
    """The file of a font given by path, or by a name that OpenImageIO ships."""
    import OpenImageIO as oiio

    given = Path(font)
    if given.suffix:
        if not given.is_file():
            raise RecipeError(f"there is no font file {font!r}", key="font")
        return given
    found = sorted(Path(oiio.__file__).parent.glob(f"**/{font}.ttf"))
    if not found:
        raise RecipeError(f"{font!r} is no font shipped here; give a .ttf or .otf file", key="font")
    return found[0]


def drawable(text: str, font: str = FONT) -> tuple[str, str]:
    """The text with what the font cannot draw replaced by `?`, and those characters, for a warning."""
    known = _glyphs(font)
    clean = " ".join(text.split()) if text.strip() else text
    lost = "".join(dict.fromkeys(c for c in clean if ord(c) not in known))
    return "".join(c if ord(c) in known else STAND_IN for c in clean), lost


@lru_cache(maxsize=4096)
def _advance(text: str, size: int, font: str) -> tuple[int, int]:
    """Left bearing and right end, in pixels, of text drawn at x = 0; blanks at either end count."""
    import OpenImageIO as oiio

    name = str(font_file(font))
    outer = oiio.ImageBufAlgo.text_size(f"|{text}|", size, name)
    bars = oiio.ImageBufAlgo.text_size("||", size, name)
    return 0, max(1, outer.width - bars.width)


def text_width(text: str, size: int, font: str = FONT) -> int:
    """Pixels from the start of the text to where a following letter would stand."""
    return _advance(text, size, font)[1]


def blank(width: int, height: int) -> Mask:
    """A mask with nothing in it."""
    return Mask(ink=np.zeros((height, width), np.float32), cover=np.zeros((height, width), np.float32))


def edge(size: int) -> int:
    """Width in pixels of the dark edge round letters of that size."""
    return max(1, round(size / 14))


def line_height(size: int) -> int:
    """Pixels of height that a line of text takes, its edge included."""
    return round(size * 1.25) + 2 * edge(size)


@lru_cache(maxsize=512)
def text_mask(
    text: str,
    size: int,
    font: str = FONT,
    backing: Literal["outline", "box", "none"] = "outline",
    width: int | None = None,
) -> Mask:
    """One line of text, `size` pixels a letter's em; `width` sets the mask's, the text in its middle."""
    import OpenImageIO as oiio

    border = edge(size) + 1
    ink_width = text_width(text, size, font)
    full = (width if width is not None else ink_width) + 2 * border
    height = line_height(size)
    canvas = oiio.ImageBuf(oiio.ImageSpec(full, height, 1, oiio.FLOAT))
    oiio.ImageBufAlgo.zero(canvas)
    x = (full - ink_width) // 2
    y = border + round(size * 0.95)
    if not oiio.ImageBufAlgo.render_text(canvas, x, y, text, size, str(font_file(font)), (1.0,)):
        raise RecipeError(f"text cannot be drawn: {canvas.geterror()}", key="font")
    ink = np.ascontiguousarray(np.clip(np.asarray(canvas.get_pixels(oiio.FLOAT))[..., 0], 0, 1))
    if backing == "none":
        cover = ink
    elif backing == "box":
        cover = np.maximum(ink, np.float32(0.65))
    else:
        cover = np.maximum(ink, _grown(ink, edge(size)))
    return Mask(ink=ink, cover=np.ascontiguousarray(cover, np.float32))


def _grown(ink: Array, radius: int) -> Array:
    """The ink spread by a disc: the shape of the dark edge."""
    padded = np.pad(ink, radius)
    grown = np.zeros_like(ink)
    height, width = ink.shape
    for dy in range(-radius, radius + 1):
        for dx in range(-radius, radius + 1):
            if dx * dx + dy * dy <= (radius + 0.5) ** 2:
                view = padded[radius + dy : radius + dy + height, radius + dx : radius + dx + width]
                np.maximum(grown, view, out=grown)
    return grown
