"""Patches through a look, by the published chart."""

import pytest

from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.measure.look_patches import patches


def test_patches_follow_the_published_chart() -> None:
    look = Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"))
    found = patches(look)
    assert len(found) == 27
    # ACES 2.0 SDR of 18 % grey is 10.000 cd/m2 of 100 (measured on two OpenColorIOs)
    assert found["grey 18 %"]["xyz"][1] == pytest.approx(0.10, abs=1e-4)
    assert found["grey 18 %"]["lab"][1:] == pytest.approx([0, 0], abs=0.01)
