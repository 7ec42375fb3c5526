"""Scopes drawn: the graticule lies where the counts of known colours lie, and says in words what it shows."""

from __future__ import annotations

import base64
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from colour import MSDS_CMFS
from rushlight.batch.report.scope_drawing import (
    CHROMATICITY,
    HEIGHT,
    LOCUS,
    PARADE,
    VECTORS,
    WIDTH,
    scope_svg,
)
from rushlight.pipelines.colour.displays import Display, displays, find_display
from rushlight.pipelines.measure.scopes import BARS, COLUMNS, HIGH, LOW, ROWS, SIDE, UV, scopes, uv
from rushlight.pipelines.outputs.stills import read_still

SVG = "{http://www.w3.org/2000/svg}"
DISPLAYS = pytest.mark.parametrize("display", displays(), ids=lambda d: d.name)


def drawn(rgb: object, display: Display, tmp_path: Path, title: str = "a") -> tuple[ET.Element, np.ndarray]:
    """The SVG, and the picture in it as lightness of 0 to 1."""
    root = ET.fromstring(scope_svg(scopes(rgb, display), display, title))
    data = root.find(f"{SVG}image").get("href")  # type: ignore[union-attr]
    path = tmp_path / "dots.png"
    path.write_bytes(base64.b64decode(str(data).partition(",")[2]))
    return root, read_still(path).max(-1)


def lit(dots: np.ndarray, place: tuple[int, int], size: tuple[int, int]) -> np.ndarray:
    """Rows and columns, of the drawing, of what is counted in a scope."""
    left, top = place
    part = dots[top : top + size[0], left : left + size[1]]
    return np.argwhere(part > 0.1) + np.array(place)[::-1]


@DISPLAYS
def test_bars_of_75_percent_lie_in_their_squares(display: Display, tmp_path: Path) -> None:
    bars = np.array([np.array(rgb) * 0.75 for name, rgb in BARS.items() if name != "white"])
    root, dots = drawn(np.repeat(bars, 4, 0)[None].repeat(8, 0), display, tmp_path)
    squares = [r for r in root.iter(f"{SVG}rect") if r.get("width") == "10"]
    at = np.array([[float(r.get("y", "")) + 5, float(r.get("x", "")) + 5] for r in squares])
    seen = lit(dots, VECTORS, (SIDE, SIDE)) + 0.5
    assert len(seen) == 6
    gaps = np.abs(at[:, None] - seen[None]).max(-1)
    assert gaps.min(0).max() <= 1 and gaps.min(1).max() <= 1


@DISPLAYS
def test_primaries_lie_at_the_corners_and_white_on_its_cross(display: Display, tmp_path: Path) -> None:
    root, dots = drawn(np.array([[[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 1.0]]]), display, tmp_path)
    corners = root.findall(f"{SVG}polygon")[1].get("points", "").split()
    at = [tuple(map(float, p.split(",")))[::-1] for p in corners]
    u, v = uv(display.gamut.to_xyz() @ np.ones(3))
    at.append((CHROMATICITY[1] + SIDE * (1 - v / UV), CHROMATICITY[0] + SIDE * u / UV))
    seen = lit(dots, CHROMATICITY, (SIDE, SIDE)) + 0.5
    assert len(seen) == 4
    assert np.abs(np.array(at)[:, None] - seen[None]).max(-1).min(0).max() <= 1


def test_the_lines_of_the_parade_lie_at_their_percents(tmp_path: Path) -> None:
    display = find_display("Rec.709 BT.1886")
    root, dots = drawn(np.full((4, COLUMNS, 3), 0.5), display, tmp_path)
    rows = np.unique(lit(dots, PARADE, (ROWS, 3 * COLUMNS))[:, 0])
    line = PARADE[1] + ROWS * (1 - (0.5 - LOW) / (HIGH - LOW))
    assert len(rows) == 1 and abs(rows[0] + 0.5 - line) <= 1
    assert any(f"M{PARADE[0]:.2f} {line:.2f}L" in (p.get("d") or "") for p in root.iter(f"{SVG}path"))
    words = [t.text for t in root.iter(f"{SVG}text")]
    assert {"0", "25", "50", "75", "100"} <= set(words)
    assert "18.9" in words  # cd/m2 of 50 % by BT.1886: 100 x 0.5 ** 2.4


def test_it_says_in_words_what_it_shows(tmp_path: Path) -> None:
    rgb = np.full((9, 16, 3), (0.2, 0.4, 0.8))
    root, dots = drawn(rgb, find_display("sRGB"), tmp_path, '<b>"A&B"')
    assert root.find(f"{SVG}title").text == '<b>"A&B"'  # type: ignore[union-attr]
    said = root.find(f"{SVG}desc").text or ""  # type: ignore[union-attr]
    assert "red 20 to 20 %, green 40 to 40 %, blue 80 to 80 %" in said
    assert root.get("role") == "img" and root.get("aria-labelledby") == "t d"
    assert dots.shape == (HEIGHT, WIDTH)


def test_a_picture_of_which_nothing_is_known_is_drawn_empty(tmp_path: Path) -> None:
    _, dots = drawn(np.full((4, 8, 3), np.nan), find_display("PQ BT.2100"), tmp_path)
    assert dots.max() < 0.1


def test_the_spectrum_is_that_of_the_1931_observer() -> None:
    found = MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    places = uv(np.asarray(found.values)[np.isin(found.wavelengths, np.arange(400, 701, 5))])
    for place in LOCUS:
        assert np.abs(places - place).max(-1).min() < 6e-5, place
