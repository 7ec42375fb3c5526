"""Gamuts: primaries, white, and how each maker adapts to the white of ACES.

Primaries are published ones, checked against colour-science and OpenColorIO. Adaptation to (0.32168, 0.33767) is
the one of the ACES input transforms: CAT02 or Bradford.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "ACES_WHITE",
    "AP0",
    "D65",
    "GAMUTS",
    "P3_D65",
    "REC709",
    "REC2020",
    "Gamut",
    "adaptation",
    "white_xyz",
]

Array = NDArray[np.float64]
D65 = (0.3127, 0.3290)
ACES_WHITE = (0.32168, 0.33767)

# CIE 15 and Fairchild, as given in colour-science: rows are cone responses from XYZ.
_CAT = {
    "CAT02": ((0.7328, 0.4296, -0.1624), (-0.7036, 1.6975, 0.0061), (0.0030, 0.0136, 0.9834)),
    "Bradford": ((0.8951, 0.2664, -0.1614), (-0.7502, 1.7135, 0.0367), (0.0389, -0.0685, 1.0296)),
}


@dataclass(frozen=True, kw_only=True)
class Gamut:
    """Primaries and white (CIE 1931 xy), and the adaptation its maker uses towards the white of ACES."""

    name: str
    red: tuple[float, float]
    green: tuple[float, float]
    blue: tuple[float, float]
    white: tuple[float, float] = D65
    cat: Literal["CAT02", "Bradford", "none"] = "Bradford"

    def is_of(self, chromaticities: Sequence[float]) -> bool:
        """True if x y of red, green, blue and white are these, to a thousandth."""
        own = (*self.red, *self.green, *self.blue, *self.white)
        return len(chromaticities) == 8 and bool(np.allclose(chromaticities, own, rtol=0, atol=1e-3))

    def to_xyz(self) -> Array:
        """RGB to XYZ, white at Y = 1. SMPTE RP 177:1993, section 3.3."""
        xyz: Array = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in (self.red, self.green, self.blue)]).T
        result: Array = xyz * np.linalg.solve(xyz, white_xyz(self.white)).astype(np.float64)
        return result

    def matrix_to_ap0(self) -> Array:
        """Linear RGB to ACES2065-1 (SMPTE ST 2065-1)."""
        matrix = np.linalg.solve(AP0.to_xyz(), adaptation(self.white, ACES_WHITE, self.cat) @ self.to_xyz())
        return np.asarray(matrix, np.float64)


def white_xyz(white: tuple[float, float]) -> Array:
    x, y = white
    return np.array([x / y, 1.0, (1 - x - y) / y])


def cones(cat: str) -> Array:
    """XYZ to cone responses (3, 3) of a chromatic adaptation transform, such as CAT02."""
    return np.array(_CAT[cat])


def adaptation(white: tuple[float, float], target: tuple[float, float], cat: str) -> Array:
    """Von Kries adaptation of XYZ from one white to another in the cone space `cat`."""
    if cat == "none" or white == target:
        return np.eye(3)
    cone = cones(cat)
    gain = (cone @ white_xyz(target)) / (cone @ white_xyz(white))
    matrix: Array = np.asarray(np.linalg.inv(cone) @ np.diag(gain) @ cone, np.float64)
    return matrix


AP0 = Gamut(
    name="AP0", red=(0.7347, 0.2653), green=(0.0, 1.0), blue=(0.0001, -0.0770), white=ACES_WHITE, cat="none"
)
AP1 = Gamut(
    name="AP1", red=(0.713, 0.293), green=(0.165, 0.830), blue=(0.128, 0.044), white=ACES_WHITE, cat="none"
)
REC709 = Gamut(name="Rec.709", red=(0.64, 0.33), green=(0.30, 0.60), blue=(0.15, 0.06))
REC2020 = Gamut(name="Rec.2020", red=(0.708, 0.292), green=(0.170, 0.797), blue=(0.131, 0.046))
P3_D65 = Gamut(name="P3-D65", red=(0.680, 0.320), green=(0.265, 0.690), blue=(0.150, 0.060))

GAMUTS = {
    g.name: g
    for g in (
        AP0,
        AP1,
        REC709,
        REC2020,
        P3_D65,
        Gamut(
            name="Wide Gamut 3", red=(0.684, 0.313), green=(0.221, 0.848), blue=(0.0861, -0.102), cat="CAT02"
        ),
        Gamut(
            name="Wide Gamut 4",
            red=(0.7347, 0.2653),
            green=(0.1424, 0.8576),
            blue=(0.0991, -0.0308),
            cat="CAT02",
        ),
        Gamut(name="S-Gamut", red=(0.73, 0.28), green=(0.14, 0.855), blue=(0.10, -0.05), cat="CAT02"),
        Gamut(name="S-Gamut3", red=(0.73, 0.28), green=(0.14, 0.855), blue=(0.10, -0.05), cat="CAT02"),
        Gamut(
            name="S-Gamut3.Cine", red=(0.766, 0.275), green=(0.225, 0.800), blue=(0.089, -0.087), cat="CAT02"
        ),
        Gamut(
            name="Venice S-Gamut3",
            red=(0.740464264304292, 0.27936437475066),
            green=(0.089241145423286, 0.893809528608105),
            blue=(0.110488236673827, -0.052579333080476),
            cat="CAT02",
        ),
        Gamut(
            name="Venice S-Gamut3.Cine",
            red=(0.775901871567345, 0.274502392854799),
            green=(0.188682902773355, 0.828684937020288),
            blue=(0.101337382499301, -0.089187517306263),
            cat="CAT02",
        ),
        Gamut(name="V-Gamut", red=(0.730, 0.280), green=(0.165, 0.840), blue=(0.100, -0.030)),
        Gamut(
            name="REDWideGamutRGB",
            red=(0.780308, 0.304253),
            green=(0.121595, 1.493994),
            blue=(0.095612, -0.084589),
        ),
        Gamut(
            name="Cinema Gamut", red=(0.740, 0.270), green=(0.170, 1.140), blue=(0.080, -0.100), cat="CAT02"
        ),
        Gamut(name="F-Gamut", red=REC2020.red, green=REC2020.green, blue=REC2020.blue),
        Gamut(name="F-Gamut C", red=(0.7347, 0.2653), green=(0.0263, 0.9737), blue=(0.1173, -0.0224)),
        Gamut(name="N-Gamut", red=REC2020.red, green=REC2020.green, blue=REC2020.blue),
        Gamut(name="D-Gamut", red=(0.71, 0.31), green=(0.21, 0.88), blue=(0.09, -0.08), cat="CAT02"),
        Gamut(
            name="Blackmagic Wide Gamut",
            red=(0.7177215, 0.3171181),
            green=(0.2280410, 0.8615690),
            blue=(0.1005841, -0.0820452),
            white=(0.3127170, 0.3290312),
            cat="CAT02",
        ),
    )
}
