"""A 3D LUT, plainly evaluated."""

import numpy as np
import pytest

from rushlight.pipelines.luts.lattice_lut import Lut, identity_lut


def test_identity_shapes_nan_and_infinities() -> None:
    grid = np.random.default_rng(0).random((4, 5, 3))
    for way in ("tetrahedral", "trilinear"):
        assert identity_lut(9).apply(grid, way) == pytest.approx(grid)
        assert identity_lut(9).apply([[np.nan, np.inf, -np.inf]], way).tolist() == [[0, 1, 0]]


def test_digest_is_over_the_numbers() -> None:
    one, two = identity_lut(5), Lut(table=identity_lut(5).table.copy(), title="another name")
    assert one.digest() == two.digest()
    two.table[1, 2, 3, 0] += 1e-6
    assert one.digest() != two.digest()


def test_a_stated_interpolation_holds_and_is_part_of_the_digest() -> None:
    table = np.zeros((2, 2, 2, 3))
    table[1, 1, 0] = 1
    plain, stated = Lut(table=table), Lut(table=table, interpolation="trilinear")
    assert plain.apply((0.75, 0.5, 0.25))[0] == 0.25
    assert stated.apply((0.75, 0.5, 0.25), "tetrahedral")[0] == pytest.approx(0.28125)
    assert plain.digest() != stated.digest()


def test_the_digest_of_a_plain_lut_is_as_it_was_recorded() -> None:
    """Looks that were delivered are known by it."""
    assert (
        identity_lut(3).digest() == "sha256:5360381165317aa865217d155ea668c1b882f9cf6b742feaee14a6235bf0c766"
    )
