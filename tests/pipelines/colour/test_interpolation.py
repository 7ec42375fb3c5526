"""Values between lattice points. Detectors: measured on OpenColorIO and FFmpeg."""

import numpy as np
import pytest

from rushlight.pipelines.colour.interpolation import tetrahedral, trilinear
from rushlight.pipelines.luts.lattice_lut import Lut


def node_lut() -> Lut:
    table = np.zeros((2, 2, 2, 3))
    table[1, 1, 0] = 1
    return Lut(table=table)


@pytest.mark.parametrize(
    ("point", "tetrahedral", "trilinear"),
    [
        ((0.75, 0.5, 0.25), 0.25, 0.28125),
        ((0.5, 0.75, 0.25), 0.25, 0.28125),
        ((0.25, 0.5, 0.75), 0.0, 0.03125),
    ],
)
def test_interpolations_differ_as_they_should(point: tuple, tetrahedral: float, trilinear: float) -> None:
    assert node_lut().apply(point)[0] == pytest.approx(tetrahedral)
    assert node_lut().apply(point, "trilinear")[0] == pytest.approx(trilinear)


def test_positions_are_in_lattice_steps_and_tables_have_any_number_of_values() -> None:
    table = np.stack(np.meshgrid(*[np.arange(4.0)] * 3, indexing="ij"), -1).sum(-1, keepdims=True)
    position = np.array([[0.5, 1.25, 3.0], [3.0, 3.0, 3.0], [0.0, 0.0, 0.0]])
    for way in (tetrahedral, trilinear):
        assert way(table, position)[:, 0] == pytest.approx([4.75, 9, 0])
