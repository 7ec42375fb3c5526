"""ACES 2.0 before the last clip: clipped, it is the display transform."""

import numpy as np
import pytest

from rushlight.pipelines.colour.aces2_unclamped import can_unclip, unclipped
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import displays, find_display, output_transform

KNOWN = ["Rec.709 BT.1886", "sRGB", "P3-D65"]


def test_which_displays() -> None:
    assert [d.name for d in displays() if can_unclip(d)] == KNOWN


@pytest.mark.parametrize("name", KNOWN)
def test_clipped_it_is_the_output_transform(name: str) -> None:
    """Within a ten-bit code, over an 11-cube and a ramp of log codes past 0 and 1; greys within a hundredth."""
    display, encoding = find_display(name), find_encoding("S-Log3/S-Gamut3")
    axis = np.linspace(-0.07, 1.1, 11)
    cube = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1).reshape(-1, 3)
    ramp = np.repeat(np.linspace(-0.07, 1.1, 1024)[:, None], 3, 1)
    ap0 = encoding.to_ap0(np.concatenate([cube, ramp]))
    light = unclipped(ap0, display)
    off = np.abs(display.from_light(light) - output_transform(ap0, display, "aces2")) * 1023
    assert off.max() < 1 and off[-1024:].max() < 0.02
    assert light.min() < -0.005 and light.max() > 1.02


def test_not_a_number_and_shape() -> None:
    display = find_display("sRGB")
    bad = np.array([[[np.nan, 0.1, 0.1], [np.inf, 0, 0]], [[0.18, 0.18, 0.18], [-1.0, -1.0, -1.0]]])
    light = unclipped(bad, display)
    assert light.shape == bad.shape and np.isfinite(light).all()
    assert light[0] == pytest.approx(0, abs=1e-6) and light[1, 1] == pytest.approx(0, abs=1e-4)
    assert unclipped(np.zeros((0, 3)), display).shape == (0, 3)


def test_there_are_no_holes() -> None:
    """Here OpenColorIO 2.5.1 makes not-a-number of a colour, and so black of it, between whites."""
    display, hole = find_display("Rec.709 BT.1886"), [[1.049, 0.8, 0.341]]
    ap0 = find_encoding("ACEScct").to_ap0(hole)
    near = unclipped(ap0 * (1 + np.linspace(-1e-3, 1e-3, 41)[:, None]), display)
    assert near.min() > 0.5
