"""EBU R 103: what is inside, what is outside, and that a hundredth of the picture is forgiven."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.pipelines.formats.pixel_formats import find_pixel_format
from rushlight.pipelines.measure.signal_range import range_of_codes, signal_range


def picture(rgb: tuple[float, float, float], share: float = 1.0) -> np.ndarray:
    """Grey, with that colour in a share of it."""
    values = np.full((100, 100, 3), 0.4)
    values.reshape(-1, 3)[: round(share * 10_000)] = rgb
    return values


@pytest.mark.parametrize(
    ("rgb", "outside"),
    [
        ((0.0, 0.0, 0.0), False),
        ((1.0, 1.0, 1.0), False),
        ((1.049, 0.5, 0.5), False),
        ((1.051, 0.5, 0.5), True),
        ((0.5, 0.5, -0.049), False),
        ((0.5, 0.5, -0.051), True),
        ((1.029, 1.029, 1.029), False),
        ((1.031, 1.031, 1.031), True),  # luma, where no component is
        ((-0.009, -0.009, -0.009), False),
        ((-0.011, -0.011, -0.011), True),
    ],
)
def test_the_tolerances(rgb: tuple[float, float, float], outside: bool) -> None:
    assert signal_range(picture(rgb), 1).outside == outside


@pytest.mark.parametrize(("share", "outside"), [(0.0099, False), (0.0102, True)])
def test_a_hundredth_of_the_picture_is_forgiven(share: float, outside: bool) -> None:
    found = signal_range(picture((1.2, 0.0, 0.0), share), 1)
    assert found.outside == outside
    assert found.rgb_outside == pytest.approx(share, abs=1e-4)
    assert (found.lowest, found.highest) == (0.0, 1.2)


def test_figures_of_luma_are_the_matrix_own() -> None:
    found = signal_range(picture((1.0, 0.0, 0.0)), 9)
    assert found.highest_luma == pytest.approx(0.2627) and found.highest == 1.0


def test_not_a_number_is_outside() -> None:
    assert signal_range(picture((np.nan, 0.0, 0.0), 0.5), 1).outside
    assert signal_range(picture((np.nan, np.nan, np.nan)), 1).outside


def test_a_frames_codes_are_thinned_within_its_picture() -> None:
    """A picture of 640x360 in 640x480: black above and below is no part of it, and a tenth of it is above the tolerance."""
    found_format = find_pixel_format("yuv422p10le")
    assert found_format
    luma = np.full((480, 640), 502, np.uint16)
    luma[:60] = luma[420:] = 4  # below black, outside the picture
    luma[60:96] = 1000
    chroma = np.full((480, 320), 512, np.uint16)
    found = range_of_codes([luma, chroma, chroma], found_format, "narrow", 1, (0, 60, 640, 360))
    assert found.luma_outside == pytest.approx(0.1, abs=0.002) and found.rgb_outside == found.luma_outside
    assert (found.lowest_luma, found.highest_luma) == pytest.approx(((502 - 64) / 876, (1000 - 64) / 876))
