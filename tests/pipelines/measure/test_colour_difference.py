"""Colour difference: CIEDE2000 by Sharma's pairs, L*a*b* and back, and both against another library."""

import numpy as np
import pytest

import colour
from rushlight.pipelines.measure.colour_difference import delta_e, lab, xyz_of_lab

# Sharma, Wu and Dalal 2005, table 1; pair 14 flips between 4.8045 and 4.7461 with the maths library.
SHARMA = [
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    ((50, 3.1571, -77.2803), (50, 0, -82.7485), 2.8615),
    ((50, 2.8361, -74.02), (50, 0, -82.7485), 3.4412),
    ((50, -1.3802, -84.2814), (50, 0, -82.7485), 1.0000),
    ((50, -1.1848, -84.8006), (50, 0, -82.7485), 1.0000),
    ((50, -0.9009, -85.5211), (50, 0, -82.7485), 1.0000),
    ((50, 0, 0), (50, -1, 2), 2.3669),
    ((50, -1, 2), (50, 0, 0), 2.3669),
    ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792),
    ((50, 2.49, -0.001), (50, -2.49, 0.001), 7.1792),
    ((50, 2.49, -0.001), (50, -2.49, 0.0011), 7.2195),
    ((50, 2.49, -0.001), (50, -2.49, 0.0012), 7.2195),
    ((50, -0.001, 2.49), (50, 0.0009, -2.49), 4.8045),
    ((50, -0.001, 2.49), (50, 0.001, -2.49), 4.8045),
    ((50, -0.001, 2.49), (50, 0.0011, -2.49), 4.7461),
    ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((50, 2.5, 0), (61, -5, 29), 22.8977),
    ((50, 2.5, 0), (56, -27, -3), 31.9030),
    ((50, 2.5, 0), (58, 24, 15), 19.4535),
    ((50, 2.5, 0), (50, 3.1736, 0.5854), 1.0000),
    ((50, 2.5, 0), (50, 3.2972, 0), 1.0000),
    ((50, 2.5, 0), (50, 1.8634, 0.5757), 1.0000),
    ((50, 2.5, 0), (50, 3.2592, 0.335), 1.0000),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((63.0109, -31.0961, -5.8663), (62.8187, -29.7946, -4.0864), 1.2630),
    ((61.2901, 3.7196, -5.3901), (61.4292, 2.248, -4.962), 1.8731),
    ((35.0831, -44.1164, 3.7933), (35.0232, -40.0716, 1.5901), 1.8645),
    ((22.7233, 20.0904, -46.694), (23.0331, 14.973, -42.5619), 2.0373),
    ((36.4612, 47.858, 18.3852), (36.2715, 50.5065, 21.2231), 1.4146),
    ((90.8027, -2.0831, 1.441), (91.1528, -1.6435, 0.0447), 1.4441),
    ((90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ((2.0776, 0.0795, -1.135), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("one", "two", "wanted"), SHARMA)
def test_ciede2000_pairs(one: tuple, two: tuple, wanted: float) -> None:
    assert len(SHARMA) == 34
    either = (wanted, 4.7461) if wanted == 4.8045 else (wanted,)
    assert any(delta_e(one, two) == pytest.approx(v, abs=5e-5) for v in either)
    assert any(delta_e(two, one) == pytest.approx(v, abs=5e-5) for v in either)


def test_lab_back_to_xyz_and_what_is_no_colour() -> None:
    xyz = np.random.default_rng(1).random((4, 5, 3))
    back = colour.Lab_to_XYZ(lab(xyz), [0.3127, 0.3290])
    assert lab(xyz).shape == xyz.shape and back == pytest.approx(xyz, abs=1e-9)
    assert lab([0.95047, 1.0, 1.08883]) == pytest.approx([100, 0, 0], abs=0.02)  # D65's own XYZ: CIE 15:2004
    assert np.isnan(lab([np.nan, 0.1, 0.1])[1]) and not np.isnan(lab([np.nan, 0.1, 0.1])[0])
    assert np.isfinite(lab([-0.1, -0.2, -0.3])).all() and lab([0.1, -0.2, 0.1])[0] < 0
    assert lab([0.1, np.inf, 0.1])[0] == np.inf
    assert np.isnan(delta_e([np.nan, 0, 0], [50, 0, 0]))
    assert delta_e(np.full((2, 3, 3), 20.0), np.full((2, 3, 3), 20.0)).tolist() == [[0] * 3] * 2


def test_against_colour_science() -> None:
    rng = np.random.default_rng(0)
    one = np.stack([rng.uniform(0, 100, 3000), *rng.uniform(-100, 100, (2, 3000))], -1)
    two = one + rng.normal(0, 8, one.shape)
    assert delta_e(one, two) == pytest.approx(colour.delta_E(one, two, method="CIE 2000"), abs=1e-9)
    xyz = rng.random((100, 3))
    assert lab(xyz) == pytest.approx(colour.XYZ_to_Lab(xyz, [0.3127, 0.3290]), abs=1e-9)
    assert xyz_of_lab(lab(xyz * 0.02)) == pytest.approx(xyz * 0.02, abs=1e-12)
