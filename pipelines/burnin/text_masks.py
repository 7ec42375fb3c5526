"""Text to masks: white ink and the dark edge or box behind it, as shares of cover from 0 to 1.

Drawn by OpenImageIO with the font it ships (Droid Sans, Latin) or one that is given; a text with letters that this lacks
(Greek, Cyrillic, Armenian, Georgian and more) is set in DejaVu Sans, which matplotlib brings. Letters are set one code
point after the other, left to right. What no font has, and what such setting would get wrong (scripts written from the
right, letters that join or stack), is told and shown as `?`: never as a box, never in a wrong order.
"""

from __future__ import annotations

import io
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.errors import RecipeError

__all__ = [
    "FONT",
    "LIGHT_FONT",
    "Backing",
    "Mask",
    "drawable",
    "edge",
    "font_file",
    "glyphs_of",
    "line_height",
    "text_mask",
    "text_width",
]

FONT, LIGHT_FONT = "DroidSans-Bold", "DroidSans"
SECOND_FONTS = {FONT: "DejaVuSans-Bold", LIGHT_FONT: "DejaVuSans"}
FONT_FILES = (".ttf", ".otf", ".ttc")
STAND_IN = "?"
BOX = 0.65  # cover of a box behind text
TALL = "|ÅÉÇgjpqy"  # reaches as far up and down as a line of Latin text does
Array = NDArray[np.float32]
Backing = Literal["outline", "box", "hairline", "none"]


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


def font_file(font: str, base: Path = Path()) -> Path:
    """The file of a font given by path, in `base` or from where we are, or by a name that OpenImageIO or matplotlib ships.
    RecipeError if there is none."""
    import OpenImageIO as oiio

    given = Path(font)
    if given.suffix.lower() in FONT_FILES:
        for path in (base / given, given):
            if path.is_file():
                return path
        raise RecipeError(f"there is no font file {font!r}", key="font")
    found = sorted(p for p in Path(oiio.__file__).parent.glob("**/*.ttf") if p.stem == font)
    if not found:
        import matplotlib

        shipped = Path(matplotlib.get_data_path(), "fonts", "ttf").glob("*.ttf")
        found = sorted(p for p in shipped if p.stem == font)
    if not found:
        raise RecipeError(f"{font!r} is no font shipped here; give a .ttf or .otf file", key="font")
    return found[0]


@lru_cache(maxsize=8)
def _glyphs(font: str) -> frozenset[int]:
    """Code points that a font draws."""
    return glyphs_of(font_file(font).read_bytes(), font)


def glyphs_of(data: bytes, font: str) -> frozenset[int]:
    """Code points that the font in these bytes draws. RecipeError if they are no font."""
    from fontTools.ttLib import TTFont

    try:
        with TTFont(io.BytesIO(data), lazy=True, fontNumber=0) as file:
            return frozenset(file.getBestCmap() or ())
    except Exception as error:  # a damaged table may raise anything
        raise RecipeError(
            f"font {font!r} cannot be read: {str(error)[:200] or 'damaged'}", key="font"
        ) from None


def _can_be_set(character: str) -> bool:
    """True if setting one code point after the other, left to right, shows this one as it is written."""
    if unicodedata.category(character) in ("Mn", "Mc", "Me", "Cf", "Cs", "Co"):
        return False
    return unicodedata.bidirectional(character) not in ("R", "AL", "AN")


def _lost(text: str, font: str) -> str:
    known = _glyphs(font)
    return "".join(dict.fromkeys(c for c in text if ord(c) not in known or not _can_be_set(c)))


def drawable(text: str, font: str = FONT) -> tuple[str, str, str]:
    """The text as it is drawn, the characters that are not, and the font: the one asked for or, if that lacks
    more of the text, the second one.

    The text is composed (NFC) and put on one line; `?` stands for each character that cannot be drawn.
    """
    clean = "".join(" " if c.isspace() else c for c in unicodedata.normalize("NFC", text))
    clean = "".join(c for c in clean if unicodedata.category(c) != "Cc")
    lost = _lost(clean, font)
    if lost:
        second = SECOND_FONTS.get(font, SECOND_FONTS[FONT])
        still_lost = _lost(clean, second)
        if len(still_lost) < len(lost):
            font, lost = second, still_lost
    return "".join(STAND_IN if c in lost else c for c in clean), lost, font


@lru_cache(maxsize=4096)
def text_width(text: str, size: int, font: str = FONT) -> int:
    """Pixels from the start of the text to where a following letter would stand; blanks at either end count."""
    import OpenImageIO as oiio

    if not text:
        return 0
    name = str(font_file(font))
    outer = oiio.ImageBufAlgo.text_size(f"|{text}|", size, name)
    bars = oiio.ImageBufAlgo.text_size("||", size, name)
    return max(1, int(outer.width - bars.width))


@lru_cache(maxsize=256)
def _reach(size: int, font: str) -> tuple[int, int]:
    """Pixels that a line of text reaches above and below its base."""
    import OpenImageIO as oiio

    extent = oiio.ImageBufAlgo.text_size(TALL, size, str(font_file(font)))
    return -int(extent.ybegin), int(extent.yend)


def edge(size: int) -> int:
    """Width in pixels of the dark edge round letters of that size."""
    return max(1, round(size / 14))


def line_height(size: int, font: str = FONT) -> int:
    """Pixels of height that a line of text takes, its edge included."""
    return sum(_reach(size, font)) + 2 * (edge(size) + 1)


@lru_cache(maxsize=512)
def text_mask(
    text: str, size: int, font: str = FONT, backing: Backing = "outline", width: int | None = None
) -> Mask:
    """One line of text, `size` pixels a letter's em, in the middle of a mask `width` wide (its own width and edges
    otherwise). The mask is `line_height` high. RecipeError if the library cannot draw with that font."""
    import OpenImageIO as oiio

    border = edge(size) + 1
    own = text_width(text, size, font)
    full = own + 2 * border if width is None else width
    canvas = oiio.ImageBuf(oiio.ImageSpec(full, line_height(size, font), 1, oiio.FLOAT))
    oiio.ImageBufAlgo.zero(canvas)
    base = border + _reach(size, font)[0]
    if text and not oiio.ImageBufAlgo.render_text(
        canvas, (full - own) // 2, base, text, size, str(font_file(font)), (1.0,)
    ):
        raise RecipeError(f"text cannot be drawn: {canvas.geterror()}", key="font")
    ink = np.ascontiguousarray(np.clip(np.asarray(canvas.get_pixels(oiio.FLOAT))[..., 0], 0, 1))
    if backing == "none":
        cover = ink
    elif backing == "box":
        cover = np.maximum(ink, np.float32(BOX))
    else:
        cover = np.maximum(ink, _grown(ink, edge(size) if backing == "outline" else max(1, round(size / 60))))
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
