"""Scopes count every pixel, and known colours lie where the standards put them."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.displays import displays, find_display, output_transform
from rushlight.pipelines.measure.scopes import (
    BARS,
    CHROMA,
    COLUMNS,
    HIGH,
    LOW,
    ROWS,
    SIDE,
    UV,
    bar_targets,
    chromaticity,
    parade,
    place_of,
    scopes,
    uv,
    vectorscope,
    ycbcr,
)

REC709 = find_display("Rec.709 BT.1886")

# SMPTE RP 219-1:2014, 75 % bars, and 100 % of BT.2020 by its own equations: 10-bit codes Y Cb Cr (shared reference, 3.3).
RP219 = {
    "white": (721, 512, 512),
    "yellow": (674, 176, 543),
    "cyan": (581, 589, 176),
    "green": (534, 253, 207),
    "magenta": (251, 771, 817),
    "red": (204, 435, 848),
    "blue": (111, 848, 481),
}
BT2020 = {"yellow": (888, 64, 548), "cyan": (710, 637, 64), "red": (294, 387, 960), "blue": (116, 960, 476)}


def codes(rgb: tuple[float, float, float], matrix: int) -> tuple[int, int, int]:
    y, cb, cr = ycbcr(np.array(rgb), matrix)
    return round(64 + 876 * y), round(512 + 896 * cb), round(512 + 896 * cr)


@pytest.mark.parametrize("name", RP219)
def test_bars_have_the_codes_of_rp_219(name: str) -> None:
    assert codes(tuple(0.75 * np.array(BARS[name])), 1) == RP219[name]  # type: ignore[arg-type]


@pytest.mark.parametrize("name", BT2020)
def test_bars_have_the_codes_of_bt_2020(name: str) -> None:
    assert codes(BARS[name], 9) == BT2020[name]


def flat(rgb: tuple[float, float, float], height: int = 36, width: int = 64) -> np.ndarray:
    return np.broadcast_to(np.array(rgb, float), (height, width, 3)).copy()


@pytest.mark.parametrize("matrix", [1, 9])
@pytest.mark.parametrize("level", [0.75, 1.0])
def test_a_bar_lies_at_its_target(matrix: int, level: float) -> None:
    targets = bar_targets(matrix, level)
    assert list(targets) == [name for name in BARS if name != "white"]
    for name, (cb, cr) in targets.items():
        counts = vectorscope(flat(tuple(level * np.array(BARS[name]))), matrix)  # type: ignore[arg-type]
        (row,), (column,) = np.nonzero(counts)
        assert (row, column) == (place_of(cr, -CHROMA, CHROMA, SIDE), place_of(cb, -CHROMA, CHROMA, SIDE))
        assert counts[row, column] == 36 * 64
    assert max(abs(v) for pair in targets.values() for v in pair) == pytest.approx(level / 2)


def test_grey_lies_in_the_middle_of_the_vectorscope() -> None:
    for grey in (0.0, 0.18, 1.0):
        (row,), (column,) = np.nonzero(vectorscope(flat((grey, grey, grey)), 1))
        assert row in (SIDE // 2 - 1, SIDE // 2) and column in (SIDE // 2 - 1, SIDE // 2)


@pytest.mark.parametrize("name", PATCHES)
def test_a_patch_of_the_chart_lies_where_it_is_computed(name: str) -> None:
    """The 24 patches through the ACES 2.0 output transform, each a picture of its own."""
    rgb = output_transform(np.array([PATCHES[name]]), REC709, "aces2")[0]
    seen = scopes(flat(tuple(rgb)), REC709)
    for k in range(3):
        rows = np.nonzero(seen.parade[k].sum(1))[0]
        assert rows.tolist() == [int((rgb[k] - LOW) / (HIGH - LOW) * ROWS)]
    light = rgb**2.4  # BT.1886 with no black lift
    x, y, z = REC709.gamut.to_xyz() @ light
    u, v = 4 * x / (x + 15 * y + 3 * z), 9 * y / (x + 15 * y + 3 * z)
    (row,), (column,) = np.nonzero(seen.chromaticity)
    assert (row, column) == (int(v / UV * SIDE), int(u / UV * SIDE))


def test_white_is_d65() -> None:
    """CIE 15:2018, table T.3: D65 has u' 0.1978, v' 0.4683."""
    white = REC709.gamut.to_xyz() @ np.ones(3)
    assert uv(white) == pytest.approx([0.1978, 0.4683], abs=5e-5)


def test_the_parade_knows_where_across() -> None:
    rgb = np.zeros((4, COLUMNS * 2, 3))
    rgb[:, COLUMNS:, 0] = 1.0  # red in the right half
    red, green, _ = parade(rgb)
    black, full = place_of(0.0, LOW, HIGH, ROWS), place_of(1.0, LOW, HIGH, ROWS)
    assert (red[black, : COLUMNS // 2] == 8).all() and (red[full, COLUMNS // 2 :] == 8).all()
    assert red.sum() == green.sum() == rgb.size / 3


@pytest.mark.parametrize("display", displays(), ids=lambda d: d.name)
def test_every_pixel_counts_once_on_every_display(display: object) -> None:
    from rushlight.pipelines.colour.displays import Display

    assert isinstance(display, Display)
    rgb = np.random.default_rng(3).uniform(-0.3, 1.3, (90, 160, 3))
    seen = scopes(rgb, display)
    assert seen.parade.sum() == rgb.size and seen.vectorscope.sum() == rgb.size // 3
    assert seen.chromaticity.sum() + seen.dark == rgb.size // 3


def test_what_is_beyond_an_edge_counts_there_and_nan_nowhere() -> None:
    rgb = flat((np.inf, -np.inf, np.nan))
    red, green, blue = parade(rgb)
    assert red[-1].sum() == red.sum() == 36 * 64 and green[0].sum() == green.sum()
    assert blue.sum() == 0 and vectorscope(rgb, 1).sum() == 0
    counts, dark = chromaticity(rgb, REC709)
    assert (counts.sum(), dark) == (0, 0)


def test_a_wide_picture_is_thinned() -> None:
    seen = scopes(np.full((270, 1280, 3), 0.5), REC709)
    assert seen.vectorscope.sum() == 135 * 640
