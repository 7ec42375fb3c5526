"""A row at a time: the curve found by a float's own bits, and the matrix after it."""

import numba as nb
import numpy as np
import pytest
from rushlight.pipelines.display import find_display
from rushlight.pipelines.engine import _pairs
from rushlight.pipelines.lattice import FLOOR, knots, light_curve, stretched
from rushlight.pipelines.rows import from_light, weighted


# The rows' functions have no way in from Python of their own.
@nb.njit
def lit(row, pairs, width, places, parts):  # type: ignore[no-untyped-def]
    from_light(row, pairs, width, places, parts)


@nb.njit
def mixed(red, green, blue, weights, width, top, luma, cb, cr):  # type: ignore[no-untyped-def]
    weighted(red, green, blue, weights, width, top, luma, cb, cr)


def run(values: np.ndarray, table: np.ndarray) -> np.ndarray:
    row = np.concatenate([values, np.zeros(8)]).astype(np.float32)
    lit(row, _pairs(table[None])[0], len(values), np.zeros(len(row), np.int32), np.zeros_like(row))
    return row[: len(values)]


@pytest.mark.parametrize("name", ["Rec.709 BT.1886", "sRGB", "P3-D65"])
def test_bits_find_the_piece(name: str) -> None:
    table = light_curve(find_display(name)).astype(np.float32)
    points = knots()
    values = np.concatenate([points, (points[1:] + points[:-1]) / 2, [-3.0, 0.0, FLOOR, 2.0, 1e9]])
    wanted = np.interp(values, points, table.astype(np.float64))
    assert np.abs(run(values, table) - wanted).max() < 3e-7


def test_shadows_and_white_are_exact() -> None:
    """Within a hundredth of a ten-bit code of the display's own curve, from black to white."""
    display = find_display("Rec.709 BT.1886")
    light = np.concatenate([np.linspace(0, 1, 4001), np.geomspace(1e-7, 1e-2, 500), [-0.02, -1e-9]])
    found = run(stretched(light), light_curve(display).astype(np.float32))
    off = np.abs(found - display.from_light(light)) * 1023
    assert off[light > 1e-5].max() < 0.02 and off.max() < 0.2
    assert (found[-2:] == 0).all() and run(
        stretched(np.array([1.0])), light_curve(display).astype(np.float32)
    )[0] == pytest.approx(1, abs=1e-5)


def test_matrix_and_top() -> None:
    weights = np.array([[0.2, 0.7, 0.1], [-0.1, -0.4, 0.5], [0.5, -0.45, -0.05]], np.float32)
    rgb = np.random.default_rng(0).uniform(-0.2, 1.4, (3, 13)).astype(np.float32)
    out = np.zeros((3, 13), np.float32)
    mixed(*rgb, weights, 13, np.float32(1), *out)
    assert out == pytest.approx(weights @ np.minimum(rgb, 1), abs=1e-6)
