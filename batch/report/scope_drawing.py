"""Scopes drawn: one SVG a frame, a picture of the counts below and a graticule measured by the display's standard above.

Left to right and down: R', G' and B' as a parade, the vectorscope, the CIE 1976 chromaticities. Dots grow lighter with the square root of
what was counted. Its title and description say in words what is drawn, for whoever hears a page.
"""

from __future__ import annotations

import base64
from functools import cache
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.displays import Display
from rushlight.pipelines.measure.scopes import (
    CHROMA,
    COLUMNS,
    HIGH,
    LOW,
    ROWS,
    SIDE,
    UV,
    Scopes,
    bar_targets,
    uv,
)
from rushlight.pipelines.measure.signal_range import RGB
from rushlight.pipelines.outputs.png_bytes import png_bytes
from rushlight.pipelines.outputs.stills import codes

__all__ = ["CHROMATICITY", "HEIGHT", "PARADE", "VECTORS", "WIDTH", "scope_svg"]

Array = NDArray[np.float64]
WIDTH, HEIGHT = 568, 584
PARADE, VECTORS, CHROMATICITY = (44, 26), (18, 308), (294, 308)  # left and top of each
STEPS = 5  # of lightness: more would be bytes that nobody sees
GROUND, INKS = 0.055, ((1.0, 0.42, 0.38), (0.42, 0.88, 0.52), (0.46, 0.66, 1.0))
LINE, WORDS, LIMIT = "#8a8f98", "#c9ced6", "#e0b04a"

# u'v' of the spectrum, 400 to 700 nm: CIE 15:2018, the 1931 observer of 2 degrees.
LOCUS = (
    *((0.2558, 0.0159), (0.2522, 0.0169), (0.2461, 0.0226), (0.2348, 0.0349), (0.2161, 0.0550), (0.1877, 0.0871)),
    *((0.1690, 0.1119), (0.1441, 0.1510), (0.1147, 0.2044), (0.0828, 0.2708), (0.0521, 0.3427), (0.0282, 0.4117)),
    *((0.0119, 0.4698), (0.0035, 0.5131), (0.0014, 0.5432), (0.0046, 0.5638), (0.0123, 0.5770), (0.0231, 0.5837)),
    *((0.0360, 0.5861), (0.0501, 0.5868), (0.0792, 0.5856), (0.1127, 0.5821), (0.1531, 0.5766), (0.2026, 0.5694)),
    *((0.2623, 0.5604), (0.3315, 0.5501), (0.4035, 0.5393), (0.4691, 0.5296), (0.5202, 0.5219), (0.5830, 0.5125)),
    *((0.6108, 0.5084), (0.6234, 0.5065)),
)  # fmt: skip


def scope_svg(seen: Scopes, display: Display, title: str) -> str:
    """The drawing of a picture's counts as a file of its own; `title` names the picture."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img"'
        ' aria-labelledby="t d" font-family="sans-serif" font-size="11">',
        f'<title id="t">{escape(title)}</title><desc id="d">{escape(_said(seen, display))}</desc>',
        f'<image width="{WIDTH}" height="{HEIGHT}" href="data:image/png;base64,{_dots(seen)}"/>',
        *_parade(display),
        *_vectors(display),
        *_chromaticity(display),
        "</svg>\n",
    ]
    return "".join(parts)


def _said(seen: Scopes, display: Display) -> str:
    """Signal of nearly all pixels (1 % to 99 %) of each component, and how far chroma reaches, in words."""
    words = []
    for name, counts in zip(("red", "green", "blue"), seen.parade, strict=True):
        share = np.cumsum(counts.sum(1)) / max(1, counts.sum())
        low, high = (LOW + (np.searchsorted(share, at) + 0.5) * (HIGH - LOW) / ROWS for at in (0.01, 0.99))
        words.append(f"{name} {100 * low:.0f} to {100 * high:.0f} %")
    chroma, order = _by_chroma()
    share = np.cumsum(seen.vectorscope.ravel()[order]) / max(1, seen.vectorscope.sum())
    reach = chroma[min(int(np.searchsorted(share, 0.99)), order.size - 1)]
    return (
        f"{display.name}. Signal of 98 in 100 pixels: {', '.join(words)}. Chroma of 99 in 100 pixels lies within {reach:.2f} of"
        " grey, where a full primary has 0.5 on its own axis."
    )


@cache
def _by_chroma() -> tuple[Array, NDArray[np.intp]]:
    """Chroma of the vectorscope's bins, rising, and which bins they are."""
    chroma = np.hypot(*np.meshgrid(*[(np.arange(SIDE) + 0.5) * 2 * CHROMA / SIDE - CHROMA] * 2)).ravel()
    order = np.argsort(chroma)
    return chroma[order], order


def _dots(seen: Scopes) -> str:
    canvas = np.full((HEIGHT, WIDTH, 3), codes(np.array(GROUND), "png8"))
    left, top = PARADE
    for k, (counts, ink) in enumerate(zip(seen.parade, INKS, strict=True)):
        _lay(canvas, counts, (left + k * COLUMNS, top), ink)
    for counts, place in ((seen.vectorscope, VECTORS), (seen.chromaticity, CHROMATICITY)):
        _lay(canvas, counts, place, (0.95, 0.95, 0.95))
    return base64.b64encode(png_bytes(canvas)).decode()


def _lay(
    canvas: NDArray[np.generic], counts: NDArray[np.int64], place: tuple[int, int], ink: tuple[float, ...]
) -> None:
    """Dots of a scope on ground that nothing else is drawn on."""
    left, top = place
    rows, columns = np.nonzero(counts[::-1])
    if not rows.size:
        return
    found = counts[::-1][rows, columns]
    full = max(1.0, float(np.quantile(found, 0.98)))
    light = (0.2 + 0.8 * np.arange(STEPS + 1) / STEPS)[:, None]
    inks = codes(GROUND * (1 - light) + light * np.array(ink), "png8")
    steps = np.ceil(np.minimum(np.sqrt(found / full), 1) * STEPS).astype(np.intp)
    canvas[top + rows, left + columns] = inks[steps]


# --- graticules


def _parade(display: Display) -> list[str]:
    left, top = PARADE
    right = left + 3 * COLUMNS
    parts = [_text(left, top - 10, f"R' G' B' of {display.name}, %", size=12)]
    for percent in (0, 25, 50, 75, 100):
        y = _up(percent / 100, LOW, HIGH, ROWS, top)
        parts.append(_line(left, y, right, y))
        parts.append(_text(left - 5, y + 4, str(percent), anchor="end"))
        nits = float(display.nits(np.full(3, percent / 100)))
        parts.append(_text(right + 4, y + 4, f"{nits:.3g}" if 0 < nits < 100 else f"{nits:.0f}", size=9))
    parts.append(_text(right + 2, top - 10, "cd/m\u00b2", size=9))
    if not display.hdr:
        for limit in RGB:
            y = _up(limit, LOW, HIGH, ROWS, top)
            parts.append(_line(left, y, right, y, ink=LIMIT, dashes=True))
    for k, name in enumerate("RGB"):
        at = left + k * COLUMNS
        parts.append(_line(at, top, at, top + ROWS))
        parts.append(_text(at + COLUMNS / 2, top + ROWS + 14, f"{name}'", anchor="middle"))
    return [*parts, _line(right, top, right, top + ROWS)]


def _vectors(display: Display) -> list[str]:
    left, top = VECTORS
    at = (lambda cb: _across(cb, -CHROMA, CHROMA, left), lambda cr: _up(cr, -CHROMA, CHROMA, SIDE, top))
    standard = {1: "BT.709", 9: "BT.2020"}[display.matrix]
    parts = [
        _text(left, top - 8, f"Cb across, Cr up: {standard}; squares 75 %, crosses 100 %", size=10),
        _frame(left, top),
        _line(at[0](-CHROMA), at[1](0), at[0](CHROMA), at[1](0)),
        _line(at[0](0), at[1](-CHROMA), at[0](0), at[1](CHROMA)),
    ]
    for name, (cb, cr) in bar_targets(display.matrix, 0.75).items():
        x, y = at[0](cb), at[1](cr)
        box = f'x="{x - 5:.2f}" y="{y - 5:.2f}" width="10" height="10"'
        parts.append(f'<rect {box} fill="none" stroke="{LIMIT}"/>')
        away = 1 - 30 / (SIDE * np.hypot(cb, cr) / (2 * CHROMA))  # towards grey, where there is room
        parts.append(_text(at[0](cb * away), at[1](cr * away) + 3, name, anchor="middle", size=9))
    for cb, cr in bar_targets(display.matrix, 1.0).values():
        parts.append(_cross(at[0](cb), at[1](cr)))
    return parts


def _chromaticity(display: Display) -> list[str]:
    left, top = CHROMATICITY

    def points(places: object) -> str:
        return " ".join(
            f"{_across(u, 0, UV, left):.2f},{_up(v, 0, UV, SIDE, top):.2f}" for u, v in np.asarray(places)
        )

    corners = uv(display.gamut.to_xyz().T)
    white = uv(display.gamut.to_xyz() @ np.ones(3))
    parts = [_text(left, top - 8, f"CIE 1976 u' across, v' up; {display.gamut.name}", size=10)]
    parts.append(_frame(left, top))
    for tick in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6):
        x, y = _across(tick, 0, UV, left), _up(tick, 0, UV, SIDE, top)
        parts.append(_line(x, top + SIDE - 4, x, top + SIDE) + _line(left, y, left + 4, y))
        parts.append(_text(x, top + SIDE + 12, f"{tick:.1f}", anchor="middle", size=9))
    style = f'fill="none" stroke="{LINE}"'
    parts.append(f'<polygon points="{points(LOCUS)}" {style}/>')
    parts.append(f'<polygon points="{points(corners)}" fill="none" stroke="{LIMIT}"/>')
    for name, (u, v) in zip(("red", "green", "blue"), corners, strict=True):
        x, y = _across(u, 0, UV, left), _up(v, 0, UV, SIDE, top)
        side, down = (6, 3) if name == "blue" else (0, -5)
        parts.append(_text(x + side, y + down, name, anchor="start" if name == "blue" else "middle", size=9))
    return [*parts, _cross(_across(white[0], 0, UV, left), _up(white[1], 0, UV, SIDE, top))]


def _across(value: float, low: float, high: float, left: float) -> float:
    return float(left + (value - low) / (high - low) * SIDE)


def _up(value: float, low: float, high: float, rows: int, top: float) -> float:
    return float(top + rows - (value - low) / (high - low) * rows)


def _line(x1: float, y1: float, x2: float, y2: float, *, ink: str = LINE, dashes: bool = False) -> str:
    style = f'stroke="{ink}" stroke-width=".7"' + (' stroke-dasharray="5 4"' if dashes else ' opacity=".7"')
    return f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" {style}/>'


def _cross(x: float, y: float) -> str:
    return f'<path d="M{x - 4:.2f} {y:.2f}h8m-4 -4v8" stroke="{LIMIT}" fill="none"/>'


def _frame(left: float, top: float) -> str:
    return f'<rect x="{left}" y="{top}" width="{SIDE}" height="{SIDE}" fill="none" stroke="{LINE}" stroke-width=".7"/>'


def _text(x: float, y: float, text: str, *, anchor: str = "start", size: float = 11) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}" fill="{WORDS}">{escape(text)}</text>'
