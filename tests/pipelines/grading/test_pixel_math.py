"""The text of pixels, on arrays: what the kernel's vectors are compiled from, held against plain reckoning."""

import numpy as np
import pytest

from rushlight.pipelines.colour.interpolation import tetrahedral
from rushlight.pipelines.grading.pixel_math import (
    FIRST_PIECE,
    LEAST,
    MOST,
    PIECE_BITS,
    corners,
    on_lines,
    part_of_piece,
    points,
    saturated,
    weighted,
)
from rushlight.pipelines.grading.shaper import PIECES, knots

RNG = np.random.default_rng(0)


def test_points_of_a_table_to_its_ends_and_past_them() -> None:
    table = np.sort(RNG.random(33)).astype(np.float32)
    x = np.concatenate([RNG.uniform(-0.3, 1.4, 500), [-0.1, 1.2, -9, 9]]).astype(np.float32)
    low, scale, top = np.float32(-0.1), np.float32(32 / 1.3), np.float32(32)
    place, part = points(x, low, scale, np.float32(0), top, np.nextafter(top, np.float32(0)))
    assert place.dtype == np.int32 and part.dtype == np.float32
    assert (place.min(), place.max()) == (0, 31) and part.max() == 1
    found = table[place] + part * (table[place + 1] - table[place])
    assert found == pytest.approx(np.interp(x, np.linspace(-0.1, 1.2, 33), table), abs=1e-5)


def test_a_light_says_its_piece_by_its_bits() -> None:
    light = np.array([LEAST, MOST, *RNG.uniform(0, 1, 200)], np.float32)
    at = (light.view(np.int32) >> PIECE_BITS) - FIRST_PIECE
    low, high = knots()[at], knots()[at + 1]
    assert at[0] == 0 and at[1] == 22 * PIECES - 1
    assert low + part_of_piece(light) * (high - low) == pytest.approx(light, rel=1e-7)


def test_saturation_keeps_the_luma_and_greys() -> None:
    red, green, blue = RNG.random((3, 50)).astype(np.float32)
    luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    found = saturated(red, green, blue, np.float32(0.0))  # type: ignore[arg-type]
    assert all(value == pytest.approx(luma, abs=1e-6) for value in found)
    found = saturated(red, red, red, np.float32(1.7))  # type: ignore[arg-type]
    assert all(value == pytest.approx(red, abs=1e-6) for value in found)


def test_three_lines_meet_where_they_cross() -> None:
    x = np.array([-1.0, 0.0, 0.5, 1.0, 3.0], np.float32)
    lines = [np.full(5, n, np.float32) for n in (0.5, 2, 4, 2, 1, 5)]  # slopes 0.5, 4, 1, meeting at 0 and 1
    assert on_lines(x, lines) == pytest.approx([1.5, 2, 4, 6, 8])


@pytest.mark.parametrize("size", [2, 17, 129])
def test_corners_and_weights_are_the_tetrahedra_of_a_lattice(size: int) -> None:
    table = RNG.random((size, size, size, 3))
    place = RNG.uniform(0, size - 1, (900, 3)).astype(np.float32)
    place[:100] = np.round(place[:100])
    place[100:200] = place[100:200, :1]
    place[-1] = size - 1
    steps = [np.int32(size * size), np.int32(size), np.int32(1)]
    inside = np.nextafter(np.float32(size - 1), np.float32(0))
    at, weights = corners(*place.T, inside, [np.float32(s) for s in steps], steps)  # type: ignore[arg-type, misc]
    flat = table.reshape(-1, 3)
    found = sum(w[:, None] * flat[a] for a, w in zip((*at, at[0] + sum(steps)), weights, strict=True))
    assert found == pytest.approx(tetrahedral(table, place.astype(np.float64)), abs=2e-5)
    assert min(w.min() for w in weights) >= 0


def test_the_matrix_cuts_at_one() -> None:
    rgb = RNG.uniform(-0.2, 1.4, (3, 13)).astype(np.float32)
    weights = RNG.uniform(-1, 1, 9).astype(np.float32)
    found = weighted(*rgb, list(weights))  # type: ignore[arg-type, misc]
    assert np.array(found) == pytest.approx(weights.reshape(3, 3) @ np.minimum(rgb, 1), abs=1e-6)
