"""ACES 2.0's output transforms of our own against OpenColorIO's, and the published anchors of the tone scale."""

import numpy as np
import pytest

from rushlight.pipelines.colour.aces2_math import LENGTH, MIDDLE, PEAK
from rushlight.pipelines.colour.aces2_tables import _hues, _to_cone, transform_row
from rushlight.pipelines.colour.aces2_unclamped import can_unclip, unclipped
from rushlight.pipelines.colour.displays import Display, displays, find_display, output_transform
from rushlight.pipelines.colour.gamuts import AP1, REC709

KNOWN = [d for d in displays() if can_unclip(d)]


def colours() -> np.ndarray:
    """AP1: 2^-10 to 2^8 in each component, a third of them on AP1's own boundary, where the transform folds."""
    rng = np.random.default_rng(0)
    some = 2.0 ** rng.uniform(-10, 8, (60000, 3))
    some[:20000][rng.random((20000, 3)) < 0.4] = 0
    return some


@pytest.mark.parametrize("display", KNOWN, ids=lambda d: d.name)
def test_against_opencolorio(display: Display) -> None:
    """The display's signal, in ten-bit codes. It is steepest at black, where 2^-14 of light is 17 codes."""
    ap0 = colours() @ AP1.matrix_to_ap0().T
    found = display.from_light(unclipped(ap0, display))
    exact = output_transform(ap0, display, "aces2")
    holes = (exact.max(1) == 0) & (found.max(1) > 0.2)  # OpenColorIO 2.5.1: isolated black between whites
    off = np.abs(found - exact)[~holes].max(1) * 1023
    assert np.median(off) < 0.005 and np.quantile(off, 0.999) < 0.6 and off.max() < 25
    assert holes.mean() < 0.001


@pytest.mark.parametrize("display", KNOWN, ids=lambda d: d.name)
def test_tone_scale(display: Display) -> None:
    """Lib.Academy.Tonescale (aces-core 2.0) for 100 cd/m2: 0.18 to 10 cd/m2, 128 (r_hit_min) to the peak."""
    grey = np.array([0.18, 128.0, 0.0])[:, None] * np.ones(3)
    found = unclipped(grey, display)
    assert found == pytest.approx(np.array([0.1, 1.0, 0.0])[:, None] * np.ones(3), abs=2e-5)
    assert pytest.approx(100 * _lightness(0.10013), abs=1e-6) == MIDDLE and PEAK == 100


def _lightness(light: float) -> float:
    """J / 100 of relative luminance: CAM16's response at F_L = 0.7937, to the power c z."""
    fl = 0.2 / 501**4 * 500 + 0.1 * (1 - 1 / 501**4) ** 2 * 500 ** (1 / 3)
    p, w = (light * fl) ** 0.42, fl**0.42
    return float((p / (27.13 + p) / (w / (27.13 + w))) ** (0.59 * (1.48 + 0.2**0.5)))


def test_hues_are_a_degree_apart_and_hold_the_corners() -> None:
    """Red, yellow, green, cyan, blue and magenta of BT.709, had once from OpenColorIO 2.5.1 (ACES2_RGB_TO_JMh, AP1)."""
    hues = _hues(_to_cone(AP1), _to_cone(REC709))
    assert hues.shape == (360,) and hues[0] == 0 and np.diff(hues).min() > 0.3 and np.diff(hues).max() < 1.6
    for corner in (26.406, 106.726, 140.686, 195.895, 276.461, 332.994):
        assert np.abs(hues - corner).min() < 0.5


def test_a_row_is_one_array_and_kept() -> None:
    row = transform_row(REC709)
    assert row.shape == (LENGTH,) and np.isfinite(row).all() and not row.flags.writeable
    assert transform_row(REC709) is row and np.isfinite(row.astype(np.float32)).all()
    assert find_display("sRGB").gamut == REC709
