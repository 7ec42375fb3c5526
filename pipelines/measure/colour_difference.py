"""Colour difference: CIE 1976 L*a*b* and CIEDE2000."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.gamuts import D65, white_xyz

__all__ = ["delta_e", "lab", "xyz_of_lab"]

Array = NDArray[np.float64]


def lab(xyz: ArrayLike, white: tuple[float, float] = D65) -> Array:
    """CIE 1976 L*a*b* of XYZ with white at Y = 1. CIE 15:2004, section 8.2.1. NaN stays NaN."""
    ratio = np.asarray(xyz, np.float64) / white_xyz(white)
    cube = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.stack(
        [116 * cube[..., 1] - 16, 500 * (cube[..., 0] - cube[..., 1]), 200 * (cube[..., 1] - cube[..., 2])],
        -1,
    )


def xyz_of_lab(values: ArrayLike, white: tuple[float, float] = D65) -> Array:
    """The inverse of `lab`. CIE 15:2004, annex D. NaN stays NaN."""
    lightness, a, b = np.moveaxis(np.asarray(values, np.float64), -1, 0)
    middle = (lightness + 16) / 116
    cube = np.stack([middle + a / 500, middle, middle - b / 200], -1)
    return np.where(cube > 6 / 29, cube**3, 3 * (6 / 29) ** 2 * (cube - 4 / 29)) * white_xyz(white)


def delta_e(first: ArrayLike, second: ArrayLike) -> Array:
    """CIEDE2000 of L*a*b* pairs (..., 3): CIE 142-2001; Sharma, Wu and Dalal 2005. NaN stays NaN."""
    l1, a1, b1 = np.moveaxis(np.asarray(first, np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(second, np.float64), -1, 0)
    mean_c = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = (np.degrees(np.arctan2(b, a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    gray = c1 * c2 == 0
    dh = h2 - h1
    dh = np.where(gray, 0.0, np.where(dh > 180, dh - 360, np.where(dh < -180, dh + 360, dh)))
    big_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh) / 2)
    mean_l, mean_c = (l1 + l2) / 2, (c1 + c2) / 2
    total = h1 + h2
    mean_h = np.where(
        gray,
        total,
        np.where(np.abs(h1 - h2) <= 180, total / 2, np.where(total < 360, total / 2 + 180, total / 2 - 180)),
    )
    t = (
        1
        - 0.17 * np.cos(np.radians(mean_h - 30))
        + 0.24 * np.cos(np.radians(2 * mean_h))
        + 0.32 * np.cos(np.radians(3 * mean_h + 6))
        - 0.20 * np.cos(np.radians(4 * mean_h - 63))
    )
    s_l = 1 + 0.015 * (mean_l - 50) ** 2 / np.sqrt(20 + (mean_l - 50) ** 2)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    turn = (
        -2
        * np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7))
        * np.sin(np.radians(60 * np.exp(-(((mean_h - 275) / 25) ** 2))))
    )
    light, chroma, hue = (l2 - l1) / s_l, (c2 - c1) / s_c, big_h / s_h
    result: Array = np.sqrt(np.maximum(light**2 + chroma**2 + hue**2 + turn * chroma * hue, 0))
    return result
