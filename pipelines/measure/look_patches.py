"""Known patches through a look: black, grey, white and the 24 of the chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.measure.colour_difference import lab

if TYPE_CHECKING:
    from rushlight.pipelines.colour.look import Look

__all__ = ["patches"]


def patches(look: Look) -> dict[str, dict[str, list[float]]]:
    """Black, grey, white and the 24 chart patches through the exact look: XYZ (Y = 1 is peak) and L*a*b* (D65)."""
    names = ["black", "grey 18 %", "white 90 %", *PATCHES]
    ap0 = np.array([[0.0] * 3, [0.18] * 3, [0.9] * 3, *PATCHES.values()])
    xyz = look.display.to_xyz(look.evaluate(look.working.from_ap0(ap0)))
    return {
        name: {"xyz": [round(float(v), 6) for v in x], "lab": [round(float(v), 4) for v in c]}
        for name, x, c in zip(names, xyz, lab(xyz), strict=True)
    }
