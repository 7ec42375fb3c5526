"""Stretched light, the curve after a lattice, and the curve's own look-up."""

import numpy as np
import pytest

from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.grading.shaper import FLOOR, knots, light_curve, on_curve, signal_of, stretched

REC709 = find_display("Rec.709 BT.1886")


def test_stretched_light_and_back() -> None:
    light = np.concatenate([np.linspace(-0.05, 1.2, 2001), [0.0, 1.0, -1e-9, 1e-9]])
    value = stretched(light)
    assert (np.diff(value[:2001]) > 0).all() and value[-4] == pytest.approx(FLOOR, abs=1e-12)
    signal = np.interp(value, knots(), light_curve(REC709))
    inside = (light > 1e-4) & (light < 1)
    assert signal[inside] == pytest.approx(REC709.from_light(light[inside]), abs=2e-5)
    assert (signal[light <= 0] < 1e-6).all() and (signal[light > 1] > 1).all()
    assert np.isnan(stretched(np.array([np.nan]))).all()


def test_a_value_on_the_curve() -> None:
    """As linear interpolation between the knots, held to 0..1."""
    curve = light_curve(REC709)
    value = np.concatenate([np.random.default_rng(0).uniform(-0.2, 1.2, 5000), knots(), [0.0, -5.0, 9.0]])
    wanted = np.clip(np.interp(value, knots(), curve), 0, 1)
    assert on_curve(curve, value) == pytest.approx(wanted, abs=1e-12)
    assert on_curve(curve, value.reshape(-1, 4)).shape == (len(value) // 4, 4)
    assert on_curve(curve, value) == pytest.approx(np.clip(signal_of(REC709, value), 0, 1), abs=2e-3)
