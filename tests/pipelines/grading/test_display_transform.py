"""The door to direct evaluation: the row of a display's transform evaluates that display's transform, and no other's."""

import subprocess
import sys

import numpy as np
import pytest

from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.gamuts import AP1
from rushlight.pipelines.grading.display_transform import CELL, direct_row, evaluated, row_length, unclipped
from rushlight.pipelines.grading.shaper import stretched

SIZE = 5


@pytest.mark.parametrize("name", ["Rec.709 BT.1886", "P3-D65"])
def test_a_row_is_the_displays_transform(name: str) -> None:
    """On axes of even light in AP1, at coordinates within cells: stretched light of the display's own transform."""
    display = find_display(name)
    axis = np.linspace(0.0, 2.0, (SIZE - 1) * CELL + 1)
    row = direct_row(display, np.eye(3), np.repeat(axis[None], 3, 0))
    assert row.shape == (row_length(SIZE),)
    place = np.random.default_rng(4).uniform(0, SIZE - 1, (200, 3))
    light = stretched(unclipped(place * (2.0 / (SIZE - 1)) @ AP1.matrix_to_ap0().T, display))
    assert evaluated(place, row) == pytest.approx(light, abs=1e-4)


def test_it_needs_no_compiler() -> None:
    """A bake, and so a `queue add`, does not wait for numba."""
    asked = "import sys, rushlight.pipelines.grading.display_transform; sys.exit('numba' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", asked], check=False).returncode == 0
