"""A row at a time: the curve found by a float's own bits, and the matrix after it."""

import numba as nb
import numpy as np
import pytest

from rushlight.pipelines.colour.cube_lut import tetrahedral
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.grading.grader import _pairs
from rushlight.pipelines.grading.row_ops import from_light, tetrahedra, weighted
from rushlight.pipelines.grading.shaper import FLOOR, knots, light_curve, stretched


# The rows' functions have no way in from Python of their own.
@nb.njit
def lit(row, pairs, width, places, parts):  # type: ignore[no-untyped-def]
    from_light(row, pairs, width, places, parts)


@nb.njit
def mixed(red, green, blue, weights, width, top, luma, cb, cr):  # type: ignore[no-untyped-def]
    weighted(red, green, blue, weights, width, top, luma, cb, cr)


@nb.njit
def within(rows, table, size, width, at, weights, out):  # type: ignore[no-untyped-def]
    tetrahedra(rows[0], rows[1], rows[2], table, size, width, at, weights, out[0], out[1], out[2], out[3])


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


@pytest.mark.parametrize("size", [2, 17, 65, 129])
def test_every_tetrahedron_of_every_size(size: int) -> None:
    """To the largest lattice a recipe takes: places are whole numbers in floats, exact below 2^24. On points, edges,
    ties and the far corner too."""
    rng = np.random.default_rng(size)
    table = rng.random((size, size, size, 4)).astype(np.float32)
    place = rng.uniform(0, size - 1, (4000, 3))
    place[:1000] = np.round(place[:1000])
    place[1000:1500] = place[1000:1500, :1]
    place[1500:2000, 1] = place[1500:2000, 2]
    place[2000:] = np.maximum(place[2000:], (size - 1.5) * rng.integers(0, 2, (2000, 3)))
    place[-1] = size - 1
    place = place.astype(np.float32).astype(np.float64)
    long = len(place) + 8
    rows, out, at = (
        np.zeros((3, long), np.float32),
        np.zeros((4, long), np.float32),
        np.zeros((3, long), np.int32),
    )
    rows[:, :-8] = place.T
    within(rows, table.reshape(-1), size, len(place), at, np.zeros((4, long), np.float32), out)
    assert np.abs(out[:, :-8].T - tetrahedral(table.astype(np.float64), place)).max() < 2e-5
