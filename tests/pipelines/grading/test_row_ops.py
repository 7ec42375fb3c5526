"""Rows in vectors: the bits of the same text on arrays, at any width; and the display's curve found by a float's own bits."""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest

from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.interpolation import tetrahedral
from rushlight.pipelines.grading import pixel_math, row_ops
from rushlight.pipelines.grading.bake import Baked
from rushlight.pipelines.grading.grader import _tables
from rushlight.pipelines.grading.row_ops import Tables
from rushlight.pipelines.grading.shaper import FLOOR, knots, light_curve, stretched
from rushlight.pipelines.grading.simd import LANES

LIGHT = light_curve(find_display("Rec.709 BT.1886")).astype(np.float32)


# The rows' functions have no way in from Python of their own.
@nb.njit
def placed(signal, width, tables, places, parts, corners, weights, found, held):  # type: ignore[no-untyped-def]
    row_ops.to_corners(signal, width, tables, places, parts, corners, weights)
    row_ops.from_lattice(width, tables, corners, weights, held, found)


@nb.njit
def lit(light, width, tables, found):  # type: ignore[no-untyped-def]
    row_ops.hold(light, width)
    row_ops.from_light(light, width, tables, found)


@nb.njit
def mixed(red, green, blue, weights, width, top, luma, cb, cr):  # type: ignore[no-untyped-def]
    row_ops.weighted(red, green, blue, weights, width, top, luma, cb, cr)


def tables_of(
    size: int,
    *,
    straight: bool,
    graded: bool,
    saturation: float = 0.8,
    clamp: bool = True,
    light: np.ndarray = LIGHT,
) -> Tables:
    """Of a look that is not like any: rough, and another one for each channel."""
    rng = np.random.default_rng(size)
    rise = np.sort(rng.random((3, 49)), 1)
    shaper = np.stack([np.linspace(0, 1, 49)] * 3) if straight else rise / rise[:, -1:]
    return _tables(
        Baked(
            lo=-0.075,
            hi=1.1,
            grade=np.sort(rng.uniform(-0.2, 1.2, (3, 100)), 1).astype(np.float32) if graded else None,
            saturation=saturation,
            clamp=clamp,
            shaper=(shaper * (size - 1)).astype(np.float32),
            shaper_lo=-0.25,
            shaper_hi=1.25,
            lattice=rng.random((size, size, size, 4)).astype(np.float32),
            light=light,
            digest="",
        ),
        1,
    )  # fmt: skip


def rows(count: int, width: int, kind: type = np.float32) -> np.ndarray:
    return np.zeros((count, 2, width + LANES), kind)[:, 0]


def run(signal: np.ndarray, tables: Tables, *, held: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Lattice coordinates and values."""
    width = signal.shape[1]
    given, found = np.zeros((3, width + LANES), np.float32), rows(4, width)
    given[:, :width] = signal
    places, parts = np.zeros(given.shape, np.int32), np.zeros_like(given)
    placed(
        given, width, tables, places, parts, np.zeros_like(places), np.zeros((4, width + LANES), np.float32), found, held
    )  # fmt: skip
    return given[:, :width], found[:, :width]


def plain(signal: np.ndarray, tables: Tables) -> tuple[np.ndarray, np.ndarray]:
    """The same by arrays."""

    def on(table: np.ndarray, at: np.ndarray, x: np.ndarray) -> np.ndarray:
        place, part = pixel_math.points(x, at[0], at[1], np.float32(0), at[2], at[3])  # type: ignore[arg-type]
        return table[2 * place] + part * table[2 * place + 1]

    value = list(signal)
    if tables.graded:
        value = [on(t, tables.grade_at, x) for t, x in zip(tables.grade, value, strict=True)]
        if tables.saturation != 1:
            value = list(pixel_math.saturated(*value, tables.saturation))  # type: ignore[arg-type, misc]
        if tables.clamp:
            value = [np.clip(x, 0, 1) for x in value]
    if tables.straight:
        value = [pixel_math.on_lines(x, list(tables.lines)) for x in value]
    else:
        value = [on(t, tables.shaper_at, x) for t, x in zip(tables.shaper, value, strict=True)]
    place = np.clip(np.array(value), np.float32(0), np.float32(tables.size - 1))
    at, weights = pixel_math.corners(*place, tables.inside, list(tables.steps), list(tables.whole))  # type: ignore[arg-type, misc]
    found = np.float32(0)
    for k, (start, weight) in enumerate(zip((*at, at[0] + tables.whole.sum()), weights, strict=True)):
        term = weight * tables.lattice[start + np.arange(4)[:, None]]
        found = term if k == 0 else found + term
    return place, found


@pytest.mark.parametrize("width", [1, 16, 301])
@pytest.mark.parametrize("straight", [True, False])
@pytest.mark.parametrize(
    ("graded", "saturation", "clamp"), [(False, 1.0, False), (True, 1.0, False), (True, 0.8, True)]
)
def test_vectors_have_the_bits_of_arrays(
    straight: bool, graded: bool, saturation: float, clamp: bool, width: int
) -> None:
    tables = tables_of(9, straight=straight, graded=graded, saturation=saturation, clamp=clamp)
    assert (tables.straight, tables.graded) == (straight, graded)
    signal = np.random.default_rng(1).uniform(-0.2, 1.3, (3, width)).astype(np.float32)
    place, found = run(signal, tables)
    wanted_place, wanted = plain(signal, tables)
    assert (place == wanted_place).all() and (found == wanted).all() and np.ptp(found) > 0.01


def test_held_light_is_light_that_hold_has_left() -> None:
    tables = tables_of(9, straight=False, graded=False)
    tables = tables._replace(lattice=(tables.lattice * 3 - 1).astype(np.float32))
    signal = np.random.default_rng(2).uniform(0, 1, (3, 99)).astype(np.float32)
    free, held = run(signal, tables)[1], run(signal, tables, held=True)[1]
    low, high = np.float32(pixel_math.LEAST), np.float32(pixel_math.MOST)
    assert (held[:3] == np.clip(free[:3], low, high)).all() and (held[3] == free[3]).all()
    assert free.min() < low and free.max() > high


@pytest.mark.parametrize("size", [2, 17, 65, 129])
def test_every_tetrahedron_of_every_size(size: int) -> None:
    """To the largest lattice a recipe takes: places are whole numbers in floats, exact below 2^24. On points, edges,
    ties and the far corner too."""
    rng = np.random.default_rng(size)
    place = rng.uniform(0, size - 1, (4000, 3))
    place[:1000] = np.round(place[:1000])
    place[1000:1500] = place[1000:1500, :1]
    place[1500:2000, 1] = place[1500:2000, 2]
    place[2000:] = np.maximum(place[2000:], (size - 1.5) * rng.integers(0, 2, (2000, 3)))
    place[-1] = size  # past the last point
    tables = tables_of(size, straight=True, graded=False)
    at, found = run((place.T / (size - 1) * 1.5 - 0.25).astype(np.float32), tables)
    table = tables.lattice.reshape(size, size, size, 4).astype(np.float64)
    assert np.abs(found.T - tetrahedral(table, at.T.astype(np.float64))).max() < 2e-5
    assert at == pytest.approx(np.minimum(place.T, size - 1), abs=2e-5 * size) and at.max() == size - 1


def shown(values: np.ndarray, table: np.ndarray) -> np.ndarray:
    """Rows of light by the curve alone."""
    weights = np.eye(3, dtype=np.float32)
    tables = tables_of(2, straight=True, graded=False, light=table)._replace(weights=weights)
    light, found = rows(4, len(values)), rows(4, len(values))
    light[:3, : len(values)] = values
    lit(light, len(values), tables, found)
    assert (found[0] == found[1]).all() and (found[0] == found[2]).all()
    return found[0, : len(values)]


@pytest.mark.parametrize("name", ["Rec.709 BT.1886", "sRGB", "P3-D65"])
def test_bits_find_the_piece(name: str) -> None:
    table = light_curve(find_display(name)).astype(np.float32)
    points = knots()
    values = np.concatenate([points, (points[1:] + points[:-1]) / 2, [-3.0, 0.0, FLOOR, 2.0, 1e9]])
    wanted = np.minimum(np.interp(values, points, table.astype(np.float64)), 1)
    assert np.abs(shown(values, table) - wanted).max() < 3e-7


def test_shadows_and_white_are_exact() -> None:
    """Within a hundredth of a ten-bit code of the display's own curve, from black to white."""
    display = find_display("Rec.709 BT.1886")
    light = np.concatenate([np.linspace(0, 1, 4001), np.geomspace(1e-7, 1e-2, 500), [-0.02, -1e-9]])
    found = shown(stretched(light), LIGHT)
    off = np.abs(found - display.from_light(light)) * 1023
    assert off[light > 1e-5].max() < 0.02 and off.max() < 0.2
    assert (found[-2:] == 0).all() and shown(stretched(np.array([1.0])), LIGHT)[0] == pytest.approx(
        1, abs=1e-5
    )


def test_matrix_and_top() -> None:
    weights = np.array([[0.2, 0.7, 0.1], [-0.1, -0.4, 0.5], [0.5, -0.45, -0.05]], np.float32)
    rgb = np.random.default_rng(0).uniform(-0.2, 1.4, (3, 13)).astype(np.float32)
    out = np.zeros((3, 13), np.float32)
    mixed(*rgb, weights, 13, np.float32(1), *out)
    assert out == pytest.approx(weights @ np.minimum(rgb, 1), abs=1e-6)
