"""The numbers of ACES 2.0's output transforms to displays of 100 cd/m2: matrices, powers, tone scale, gamut by hue.

From the Academy's ACES 2.0 output transform (aces-core 2.0), with hues tabulated every degree as OpenColorIO 2.5 does;
aces2_math.py evaluates them, tests/pipelines/colour/test_aces2_tables.py holds them to OpenColorIO.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour import aces2_math as am
from rushlight.pipelines.colour.gamuts import AP1, Gamut

__all__ = ["transform_row"]

Array = NDArray[np.float64]
# CAM16's cone space as primaries and white, as ACES 2.0 states it.
_CAM16 = Gamut(
    name="CAM16", red=(0.8336, 0.1735), green=(2.3854, -1.4659), blue=(0.087, -0.125), white=(0.333, 0.333)
)
# Viewing conditions: adapting luminance 100 cd/m2, background 20 %, dim surround (c = 0.59, Nc = 0.9).
_CZ = 1 / am.EXPONENTS[am.LIGHTNESS]
_K4 = (1 / 501) ** 4
_FL = 0.2 * _K4 * 500 + 0.1 * (1 - _K4) ** 2 * 500 ** (1 / 3)
_OPPONENT = np.array([[2, 1, 1 / 20], [1, -12 / 11, 1 / 11], [1 / 9, 1 / 9, -2 / 9]])
_CORNERS = np.array([[1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 1, 1], [0, 0, 1], [1, 0, 1], [1, 0, 0]], float)


def _response(cone: Array | float) -> Array:
    p = np.abs(cone) ** 0.42
    return np.asarray(np.copysign(p / (27.13 + p), cone), np.float64)


def _cone(response: Array) -> Array:
    held = np.minimum(np.abs(response), 0.99)
    return np.asarray(np.copysign((27.13 * held / (1 - held)) ** (1 / 0.42), response), np.float64)


def _to_cone(gamut: Gamut) -> Array:
    """Cone signals of linear RGB, adapted wholly to its white, of which each is F_L."""
    cone = np.linalg.solve(_CAM16.to_xyz(), gamut.to_xyz())
    return np.asarray(_FL * cone / cone.sum(1)[:, None], np.float64)


def _to_opponent() -> Array:
    """A a b of cone responses; A of white is 1."""
    lightness = _OPPONENT[:1] / (_OPPONENT[0].sum() * _response(_FL))
    return np.vstack([lightness, 400 * 43 * 0.9 * _OPPONENT[1:]])


def _powers() -> Array:
    base = np.append(1 + np.arange(am.STEPS + 1) / am.STEPS, 2.0 ** np.arange(-am.OCTAVES, am.OCTAVES + 1))
    return np.asarray(base ** np.array(am.EXPONENTS)[:, None], np.float64)


def _tone() -> Array:
    """A and J after the tone scale, at the points of its table. Lib.Academy.Tonescale for a peak of 100 cd/m2."""
    first, last, parts = am.TONES
    a = np.append(
        (2.0 ** np.arange(first, last)[:, None] * (1 + np.arange(parts) / parts)).ravel(), 2.0**last
    )
    luminance = _cone(a * _response(_FL)) / _FL
    contrast, flare, roof, grey = 1.15, 0.04, 128.0, 0.10013
    most, middle = (0.5 * (v + np.sqrt(v * (v + 4 * flare))) for v in (1.0, grey))
    at_grey = (middle / most) ** (1 / contrast) * roof / most / (roof / most + 1)
    half = 0.18 / (most * at_grey / (1 - at_grey))
    f = most * (luminance / (luminance + half * most) * (roof / most + half) / (roof / most)) ** contrast
    toned = _response(f * f / (f + flare) * _FL) / _response(_FL)
    return np.stack([toned, 100 * toned**_CZ], -1)


def _chroma_norm(hue: Array) -> Array:
    h = np.radians(hue)
    cosines = 11.34072 * np.cos(h) + 16.46899 * np.cos(2 * h) + 7.88380 * np.cos(3 * h)
    sines = 14.66441 * np.sin(h) - 6.37224 * np.sin(2 * h) + 9.19364 * np.sin(3 * h)
    return np.asarray((cosines + sines + 77.12896) * ((0.03379 * 100) ** 0.30596 - 0.45135), np.float64)


def _opponent(rgb: Array, to_cone: Array) -> tuple[Array, Array, Array]:
    """A, M and hue in degrees, 0 to 360, of linear RGB (N, 3)."""
    a, p, q = (_response(rgb @ to_cone.T) @ _to_opponent().T).T
    return a, np.hypot(p, q), np.degrees(np.arctan2(q, p)) % 360


def _hues(scene: Array, display: Array) -> Array:
    """360 hues, a degree or so apart, among them the six corners of the display's cube and of AP1 at the peak's A."""
    low, high = np.zeros(6), np.full(6, 1024.0)
    for _ in range(40):
        scale = (low + high) / 2
        dark = _opponent(scale[:, None] * _CORNERS[:-1], scene)[0] < 1
        low, high = np.where(dark, scale, low), np.where(dark, high, scale)
    reach = _opponent(high[:, None] * _CORNERS[:-1], scene)[2]
    corners = np.sort(np.concatenate([reach, _opponent(_CORNERS[:-1], display)[2]]))
    ends, counts = np.array([0.0, *corners, 360.0]), np.diff([0, *np.round(corners).astype(int), 360])
    spans = zip(ends[:-1], ends[1:], counts, strict=True)
    return np.concatenate([np.linspace(start, stop, n, endpoint=False) for start, stop, n in spans])


def _cusps(hue: Array, to_cone: Array) -> Array:
    """J and M (N, 2) of the display's most colourful at each hue: the edges of its cube off black and white."""
    along = np.linspace(0, 1, 4000, endpoint=False)[:, None]
    edge = np.concatenate([a + along * (b - a) for a, b in pairwise(_CORNERS)])
    a, m, at = _opponent(edge, to_cone)
    found = (100 * a**_CZ, m * (1 + 0.27 * am.SMOOTH_CUSPS))
    return np.stack([np.interp(hue, at, v, period=360) for v in found], -1)


def _reach(hue: Array, to_cone: Array) -> Array:
    """M at which a colour as light as the peak leaves AP1, at each hue."""
    back, out = np.linalg.inv(_to_opponent()), np.linalg.inv(to_cone)
    way = np.stack([np.zeros_like(hue), np.cos(np.radians(hue)), np.sin(np.radians(hue))], -1)

    def outside(m: Array) -> NDArray[np.bool_]:
        rgb = _cone((np.array([1.0, 0, 0]) + m[:, None] * way) @ back.T) @ out.T
        return np.asarray((rgb < 0).any(-1))

    high = np.full(hue.shape, 50.0)
    while (inside := ~outside(high) & (high < 1300)).any():
        high = high + 50.0 * inside
    low = high - 50.0
    for _ in range(30):
        middle = (low + high) / 2
        beyond = outside(middle)
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return high


def _fits(hue: Array, cusps: Array, gamma: Array, row: Array) -> NDArray[np.bool_]:
    """True if the upper hull of a gamma lies outside the display's gamut at five heights, at each hue."""
    cos, sin, gamma = (v[:, None] for v in (np.cos(np.radians(hue)), np.sin(np.radians(hue)), gamma))
    cusp_j, cusp_m = cusps[:, :1], cusps[:, 1:]
    j = cusp_j + np.array([0.01, 0.1, 0.5, 0.8, 0.99]) * (am.PEAK - cusp_j)
    focus_j, flat = am.focus(cusp_j), am.gain(j, cusp_j)
    meets = am.meeting(j, cusp_m, focus_j, flat)
    slope = am.slope_at(meets, focus_j, flat)
    m = am.boundary(meets, slope, cusp_j, cusp_m, 1 / gamma, flat, row)
    a = am.raised((meets + slope * m) / am.PEAK, row, am.LIGHTNESS)
    return np.asarray((np.max(am.light_of(a, m * cos, m * sin, row), axis=0) > 1).all(-1))


def _hulls(hue: Array, cusps: Array, row: Array) -> Array:
    """1 / gamma of the upper hull at each hue: the least gamma, to 1e-5, that fits."""
    high = np.full(hue.shape, 0.4)
    while (more := ~_fits(hue, cusps, high, row) & (high < 5)).any():
        high = high + 0.4 * more
    low = high - 0.4
    for _ in range(16):
        middle = (low + high) / 2
        fits = _fits(hue, cusps, middle, row)
        low, high = np.where(fits, low, middle), np.where(fits, middle, high)
    return 1 / high


@lru_cache(maxsize=4)
def transform_row(gamut: Gamut) -> Array:
    """The row (LENGTH,) of the transform to a display of 100 cd/m2 in its own primaries and white; not to be written to."""
    scene, display, opponent = _to_cone(AP1), _to_cone(gamut), _to_opponent()
    matrices = (scene, opponent, np.linalg.inv(opponent), np.linalg.inv(display))
    row = np.zeros(am.LENGTH)
    row[: am.HUES] = np.concatenate([v.ravel() for v in (*matrices, _powers(), _tone())])
    hues, degrees = _hues(scene, display), np.arange(360.0)
    cusps = _cusps(hues, display)
    corner = np.array([[1, 0], [0, 1], [-1, 0], [0, -1], [1, 0]], float)
    p, q = (np.interp(np.arange(am.TURNS + 1) * (4 / am.TURNS), np.arange(5), axis) for axis in corner.T)
    hue = np.degrees(np.arctan2(q, p)) % 360
    columns = (
        np.interp(hue, degrees, _reach(degrees, scene), period=360),
        _chroma_norm(hue),
        *(np.interp(hue, hues, v, period=360) for v in (*cusps.T, _hulls(hues, cusps, row))),
    )
    row[am.HUES :] = np.stack(columns, -1).ravel()
    row.setflags(write=False)
    return row
