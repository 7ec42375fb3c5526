"""The 24-patch chart as ACES2065-1 scene-linear values.

Source: SMPTE ST 2065-1:2021 lists these exposure values of the 24 patches, as given in OpenColorIO's tests.
"""

from __future__ import annotations

__all__ = ["COLOURS", "PATCHES"]

PATCHES: dict[str, tuple[float, float, float]] = {
    "dark skin": (0.11877, 0.08709, 0.05895),
    "light skin": (0.40002, 0.31916, 0.23736),
    "blue sky": (0.18476, 0.20398, 0.31311),
    "foliage": (0.10901, 0.13511, 0.06493),
    "blue flower": (0.26684, 0.24604, 0.40932),
    "bluish green": (0.32283, 0.46208, 0.40606),
    "orange": (0.38605, 0.22743, 0.05777),
    "purplish blue": (0.13822, 0.13037, 0.33703),
    "moderate red": (0.30202, 0.13752, 0.12758),
    "purple": (0.09310, 0.06347, 0.13525),
    "yellow green": (0.34876, 0.43654, 0.10613),
    "orange yellow": (0.48655, 0.36685, 0.08061),
    "blue": (0.08732, 0.07443, 0.27274),
    "green": (0.15366, 0.25692, 0.09071),
    "red": (0.21742, 0.07070, 0.05130),
    "yellow": (0.58919, 0.53943, 0.09157),
    "magenta": (0.30904, 0.14818, 0.27426),
    "cyan": (0.14901, 0.23378, 0.35939),
    "white 9.5": (0.86653, 0.86792, 0.85818),
    "neutral 8": (0.57356, 0.57256, 0.57169),
    "neutral 6.5": (0.35346, 0.35337, 0.35391),
    "neutral 5": (0.20253, 0.20243, 0.20287),
    "neutral 3.5": (0.09467, 0.09520, 0.09637),
    "black 2": (0.03745, 0.03766, 0.03895),
}


# Scene-linear ACES2065-1; 90 % is a white card of that reflectance.
COLOURS = {"black": (0.0,) * 3, "grey 18 %": (0.18,) * 3, "white 90 %": (0.9,) * 3, **PATCHES}
