"""Exposure and white balance read back from what a look file does to ACES2065-1.

`Look.correction_in_aces` is the way there: a von Kries adaptation by CAT02 and a factor, in the working gamut. Over cone
responses that is a diagonal, so its three numbers give the factor and the white exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.camera_encodings import Encoding
from rushlight.pipelines.colour.gamuts import D65, adaptation, cones, white_xyz
from rushlight.pipelines.luts.lut_nodes import AnyLut

__all__ = ["correction_of", "matrix_of"]

Array = NDArray[np.float64]
DIGITS = 9  # to which exposure and white are taken: a look then has the numbers that someone wrote


def matrix_of(lut: AnyLut) -> Array | None:
    """The matrix (3, 3) that a LUT is, over light from -1 to 64; None where it is anything else."""
    black = lut.apply(np.zeros(3))
    matrix = (lut.apply(np.eye(3)) - black).T
    values = np.random.default_rng(0).uniform(-1.0, 2.0, (64, 3)) * np.geomspace(0.01, 32.0, 64)[:, None]
    if not np.allclose(black, 0.0, atol=1e-9):
        return None
    return matrix if np.allclose(lut.apply(values), values @ matrix.T, rtol=1e-6, atol=1e-9) else None


def correction_of(matrix: Array, working: Encoding) -> tuple[float, tuple[float, float] | None] | None:
    """Stops, and CIE x, y of the white that comes out neutral (None: as it was), of a matrix (3, 3) over ACES2065-1, for grades in
    `working`; None where the matrix is no such correction."""
    to_ap0 = working.matrix_to_ap0
    to_xyz = adaptation(working.gamut.white, D65, "CAT02") @ working.gamut.to_xyz()
    inside = np.linalg.solve(to_ap0, matrix @ to_ap0)
    cat = cones("CAT02")
    gains = cat @ to_xyz @ inside @ np.linalg.inv(to_xyz) @ np.linalg.inv(cat)
    gain = np.diag(gains)
    if min(gain) <= 0 or not np.allclose(gains, np.diag(gain), atol=1e-6 * max(gain)):
        return None
    white = np.linalg.solve(cat, cat @ white_xyz(D65) / gain)  # XYZ, its Y the factor undone
    stops = round(float(-np.log2(white[1])), DIGITS)
    x, y = (round(float(v), DIGITS) for v in white[:2] / white.sum())
    same = np.allclose((x, y), D65, atol=1e-6)
    return stops + 0.0, None if same else (x, y)
