"""Exposure in false colours: stops are right in every encoding, and the scale is in order for whoever sees no hues."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.batch.look_pictures.exposure_colours import (
    BANDS,
    GREY,
    HIGHEST,
    LOWEST,
    NEAR,
    exposure_colours,
    legend,
    stops_of,
)
from rushlight.pipelines.colour.camera_encodings import encodings, find_encoding
from rushlight.pipelines.colour.gamuts import AP0


@pytest.mark.parametrize("stop", range(-6, 7))
def test_stops_are_counted_from_grey(stop: int) -> None:
    assert stops_of(np.full(3, 0.18) * 2.0**stop) == pytest.approx(stop)


def test_no_light_less_and_nan_are_below_all() -> None:
    assert (stops_of([[0, 0, 0], [-1, -1, -1], [np.nan, 1, 1]]) == -np.inf).all()


def test_luminance_is_that_of_aces2065_1() -> None:
    colour = np.array([0.3, 0.2, 0.05])
    assert stops_of(colour) == pytest.approx(np.log2((AP0.to_xyz() @ colour)[1] / 0.18))


@pytest.mark.parametrize("encoding", [e for e in encodings() if e.kind == "log"], ids=lambda e: e.name)
def test_grey_is_grey_in_every_encoding(encoding: object) -> None:
    from rushlight.pipelines.colour.camera_encodings import Encoding

    assert isinstance(encoding, Encoding)
    light = np.full((4, 5, 3), 0.18) * 2.0 ** np.array([-4, -2, 0, 1.5, 2.5])[:, None]
    seen = exposure_colours(encoding.from_ap0(light), encoding)
    wanted = [
        BANDS[-4 - LOWEST].rgb,
        BANDS[-2 - LOWEST].rgb,
        GREY,
        BANDS[1 - LOWEST].rgb,
        BANDS[2 - LOWEST].rgb,
    ]
    for column, (rgb, stop) in enumerate(zip(wanted, [-4, -2, 0, 1.5, 2.5], strict=True)):
        if (
            float(encoding.from_ap0(np.full(3, 0.18) * 2.0**stop).max()) < 1 and stop != int(stop)
        ) or stop == 0:
            assert seen[0, column] == pytest.approx(rgb), stop


def test_the_edges_of_grey() -> None:
    encoding = find_encoding("LogC3")
    for stop, grey in (
        (NEAR - 0.01, True),
        (NEAR + 0.01, False),
        (-NEAR + 0.01, True),
        (-NEAR - 0.01, False),
    ):
        seen = exposure_colours(encoding.from_ap0(np.full((1, 1, 3), 0.18) * 2.0**stop), encoding)
        assert (tuple(seen[0, 0]) == GREY) == grey


def test_what_the_encoding_cannot_hold_is_striped() -> None:
    seen = exposure_colours(np.full((32, 32, 3), 1.0), find_encoding("LogC3"))
    assert set(np.unique(seen)) == {0.15, 1.0}
    one = np.full((32, 32, 3), 0.4)
    one[..., 0] = 1.2
    assert set(np.unique(exposure_colours(one, find_encoding("LogC3")))) == {0.15, 1.0}


def lightness(rgb: tuple[float, float, float]) -> float:
    """CIE 1976 L* of sRGB (IEC 61966-2-1; CIE 15:2018, 8.2.1)."""
    values = np.array(rgb)
    linear = np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)
    y = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * np.cbrt(y) - 16 if y > 0.008856 else 903.3 * y


def test_the_scale_is_in_order_without_hues() -> None:
    shades = [lightness(band.rgb) for band in BANDS]
    steps = np.diff(shades)
    assert (steps > 3).all() and shades[0] < 12 and shades[-1] > 90
    assert BANDS[0].low == LOWEST and BANDS[-1].high == HIGHEST


def test_the_legend_is_the_scale() -> None:
    drawn = legend(10, 1400)
    assert drawn.shape == (10, 1400, 3)
    for k, band in enumerate(BANDS):
        x = k * 100 + (20 if band.low >= 0 else 80)
        middle = k * 100 + 50
        assert tuple(drawn[0, middle]) == band.rgb or abs(band.low + 0.5) < NEAR, x
    assert tuple(drawn[0, 700]) == GREY
