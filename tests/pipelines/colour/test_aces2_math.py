"""Powers and responses by look-ups and sums alone, against numpy's; numbers and arrays alike; negatives and black."""

import numpy as np
import pytest

from rushlight.pipelines.colour.aces2_math import (
    EXPONENTS,
    _cone,
    _response,
    display_light,
    pick,
    power,
    raised,
)
from rushlight.pipelines.colour.aces2_tables import transform_row
from rushlight.pipelines.colour.gamuts import REC709

ROW = transform_row(REC709)
VALUES = np.concatenate([2.0 ** np.random.default_rng(0).uniform(-40, 40, 20000), 2.0 ** np.arange(-49, 49)])


@pytest.mark.parametrize("which", range(len(EXPONENTS)))
def test_tabled_powers(which: int) -> None:
    assert raised(VALUES, ROW, which) == pytest.approx(VALUES ** EXPONENTS[which], rel=2e-6)
    assert (np.diff(raised(np.sort(VALUES), ROW, which)) >= 0).all()
    assert (raised(np.array([0.0, -1.0, 1e-300, -np.inf]), ROW, which) == 0).all()


@pytest.mark.parametrize("exponent", [0.42, 1.0, 2.38, 0.007])
def test_any_power(exponent: float) -> None:
    assert power(VALUES, exponent) == pytest.approx(VALUES**exponent, rel=1e-8)
    assert (power(np.array([0.0, -1.0, 1e-300, -np.inf]), exponent) == 0).all()


def test_responses_come_back_and_are_odd() -> None:
    """CAM16 as ACES 2.0 has it: p / (27.13 + p), p = x^0.42; 0.99 is as much as comes back."""
    cone = np.append(VALUES[(VALUES > 1e-9) & (VALUES < 1e4)], 0.0)
    assert _response(np.array([1.0]), ROW) == pytest.approx(1 / 28.13, rel=2e-6)
    assert _cone(_response(cone, ROW), ROW) == pytest.approx(cone, rel=2e-4)
    assert (_response(-cone, ROW) == -_response(cone, ROW)).all()


def test_pick() -> None:
    assert (pick(np.array([True, False]), 1.0, np.array([np.nan, 3.0])) == [1.0, 3.0]).all()


def test_black_negatives_and_the_brightest() -> None:
    cases = [
        *([0, 0, 0], [-1, -5, -0.1], [1024, 1024, 1024], [1e30, np.inf, 1024], [0.2, -3, 0.1], [0.2, 0, 0.1]),
    ]
    with np.errstate(all="ignore"):
        found = np.transpose(display_light(*np.array(cases, float).T, ROW))
    assert (found[:2] == 0).all()
    assert (
        (found[2] == found[3]).all() and found[2] == pytest.approx(found[2, 0], abs=1e-5) and found[2, 0] > 1
    )
    assert (found[4] == found[5]).all() and found[4, 0] > found[4, 2] > found[4, 1]
