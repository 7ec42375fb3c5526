"""Direct evaluation at lattice coordinates: the transform of the camera signal there; and where a bake has it."""

import numpy as np
import pytest

from rushlight.pipelines.colour.aces2_unclamped import unclipped
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.grading.bake import bake
from rushlight.pipelines.grading.direct_evaluation import evaluated
from rushlight.pipelines.grading.lattice import direct_of, lattice, steps
from rushlight.pipelines.grading.shaper import stretched

DISPLAY = find_display("Rec.709 BT.1886")


def look(name: str = "LogC3") -> Look:
    return Look(encoding=find_encoding(name), display=DISPLAY)


@pytest.mark.parametrize("name", ["LogC3", "Canon Log", "ACEScg", "L-Log"])
def test_coordinates_are_the_camera_signal(name: str) -> None:
    """At any coordinate within the signal: the transform of what the shapers take there."""
    one = look(name)
    made = lattice(one, 65)
    row = direct_of(one, made.places, 65)
    assert row is not None
    code = np.random.default_rng(1).uniform(-0.07, 1.09, (4000, 3))
    place = np.stack([np.interp(code[:, k], steps(one), made.places[k]) for k in range(3)], -1)
    light = unclipped(one.working.to_ap0(code), DISPLAY)
    assert evaluated(place, row) == pytest.approx(stretched(light), abs=1e-3)
    assert np.median(np.abs(evaluated(place, row) - stretched(light))) < 1e-5
    outside = np.array([[-3.0, 5.0, 90.0], [0.0, 5.0, 64.0]])
    assert np.isfinite(evaluated(outside, row)).all()


def test_where_there_is_none() -> None:
    """What a lattice of 65 points marks is a few in a hundred; a grade inside the lattice, or no such transform: none."""
    baked = bake(look())
    share = baked.lattice[..., 3]
    assert baked.direct is not None and set(np.unique(share)) == {0.0, 1.0} and 0.01 < share.mean() < 0.08
    for other in (
        Look(encoding=find_encoding("LogC3"), display=DISPLAY, cdl=CDL(saturation=0.9), cdl_space="ACEScct"),
        Look(encoding=find_encoding("LogC3"), display=DISPLAY, white_balance=(0.3457, 0.3585)),
        Look(encoding=find_encoding("LogC3"), display=find_display("PQ BT.2100")),
        Look(encoding=find_encoding("LogC3"), display=DISPLAY, transform="colorimetric"),
    ):
        baked = bake(other)
        assert baked.direct is None and not baked.lattice[..., 3].any()
    assert bake(look(), size=33).direct is None  # too many cells would ask for it
    # A CDL in the camera's log goes ahead of the lattice, and both are there.
    assert (
        bake(Look(encoding=find_encoding("LogC3"), display=DISPLAY, cdl=CDL(saturation=0.9))).direct
        is not None
    )
