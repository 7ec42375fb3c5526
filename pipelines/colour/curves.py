"""The published log and video curves: code value 0..1 to scene-linear light and back.

Most makers publish one shape, a logarithm with a straight toe: `Curve` by its constants. The others stand below it, each with
its source in `encodings`. Constants as printed; tests hold every curve to colour-science and to the published codes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["EXPOSURE_INDEXES", "Curve", "find_curve"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Curve:
    """`encode` takes linear light to code values, `decode` the other way; any shape, float64. NaN gives NaN."""

    encode: Callable[[Array], Array]
    decode: Callable[[Array], Array]


def _toed(
    *,
    a: float = 1.0,
    b: float,
    c: float,
    d: float,
    e: float,
    f: float,
    cut: float,
    code_cut: float | None = None,
) -> Curve:
    """c log10(a x + b) + d from `cut` up, e x + f below; back from `code_cut` up, where the maker prints one."""
    turn = e * cut + f if code_cut is None else code_cut
    return Curve(
        lambda x: np.where(x >= cut, c * np.log10(a * x + b) + d, e * x + f),
        lambda y: np.where(y >= turn, (10 ** ((y - d) / c) - b) / a, (y - f) / e),
    )


# ARRI, ALEXA Log C Curve, table for linear scene exposure, SUP 3.x: cut, b, c, d, e, f; a is 5.555556 for all.
_LOGC3 = {
    160: (0.005561, 0.080216, 0.269036, 0.381991, 5.842037, 0.092778),
    200: (0.006208, 0.076621, 0.266007, 0.382478, 5.776265, 0.092782),
    250: (0.006871, 0.072941, 0.262978, 0.382966, 5.710494, 0.092786),
    320: (0.007622, 0.068768, 0.259627, 0.383508, 5.637732, 0.092791),
    400: (0.008318, 0.064901, 0.256598, 0.383999, 5.571960, 0.092795),
    500: (0.009031, 0.060939, 0.253569, 0.384493, 5.506188, 0.092800),
    640: (0.009840, 0.056443, 0.250219, 0.385040, 5.433426, 0.092805),
    800: (0.010591, 0.052272, 0.247190, 0.385537, 5.367655, 0.092809),
    1000: (0.011361, 0.047996, 0.244161, 0.386036, 5.301883, 0.092814),
    1280: (0.012235, 0.043137, 0.240810, 0.386590, 5.229121, 0.092819),
    1600: (0.013047, 0.038625, 0.237781, 0.387093, 5.163350, 0.092824),
}
EXPOSURE_INDEXES = tuple(_LOGC3)


def _logc3(index: int) -> Curve:
    cut, b, c, d, e, f = _LOGC3[index]
    return _toed(a=5.555556, b=b, c=c, d=d, e=e, f=f, cut=cut)


def _logc4() -> Curve:
    a, b, c = (2**18 - 16) / 117.45, (1023 - 95) / 1023, 95 / 1023
    s = 7 * math.log(2) * 2 ** (7 - 14 * c / b) / (a * b)
    t = (2 ** (14 * (-c / b) + 6) - 64) / a
    return Curve(
        lambda x: np.where(x >= t, (np.log2(a * x + 64) - 6) / 14 * b + c, (x - t) / s),
        lambda y: np.where(y >= 0, (2 ** (14 * ((y - c) / b) + 6) - 64) / a, y * s + t),
    )


def _slog(gain: float) -> Curve:
    """S-Log (gain 1) and S-Log2 (155/219): reflection over 0.9, and 0..1 put at the codes 64 and 940 of 1023."""
    scale, offset, toe = 876 / 1023, 64 / 1023, 0.030001222851889303
    return _toed(
        a=gain / 0.9,
        b=0.037584,
        c=0.432699 * scale,
        d=(0.616596 + 0.03) * scale + offset,
        e=5 * gain / 0.9 * scale,
        f=toe * scale + offset,
        cut=0.0,
        code_cut=(0.432699 * math.log10(0.037584) + 0.616596 + 0.03) * scale + offset,
    )


def _mirrored(c: float, a: float, d: float) -> Curve:
    """Canon Log and Log 2, formula of reflection over 0.9: the same logarithm of light below black, turned about it."""
    return Curve(
        lambda x: np.sign(x) * c * np.log10(np.abs(x) / 0.9 * a + 1) + d,
        lambda y: 0.9 * np.sign(y - d) * (10 ** (np.abs(y - d) / c) - 1) / a,
    )


_CLOG3 = (0.097465473, 0.15277891)  # codes between which Canon Log 3 is straight


def _clog3_encode(x: Array) -> Array:
    x = x / 0.9
    below, above = (_CLOG3[k] - 0.12512219 for k in (0, 1))
    log = 0.36726845 * np.log10(np.abs(x) * 14.98325 + 1)
    straight = 1.9754798 * x + 0.12512219
    return np.where(
        x < below / 1.9754798, 0.12783901 - log, np.where(x <= above / 1.9754798, straight, log + 0.12240537)
    )


def _clog3_decode(y: Array) -> Array:
    low = -(10 ** ((0.12783901 - y) / 0.36726845) - 1) / 14.98325
    high = (10 ** ((y - 0.12240537) / 0.36726845) - 1) / 14.98325
    return 0.9 * np.where(y < _CLOG3[0], low, np.where(y <= _CLOG3[1], (y - 0.12512219) / 1.9754798, high))


def _nlog() -> Curve:
    """Nikon prints ten-bit codes: 650 (x + 0.0075)^(1/3) below 0.328, 150 ln x + 619 above; back at 452."""
    return Curve(
        lambda x: np.where(x < 0.328, 650 * np.cbrt(x + 0.0075), 150 * np.log(x) + 619) / 1023,
        lambda y: np.where(y < 452 / 1023, (y * 1023 / 650) ** 3 - 0.0075, np.exp((y * 1023 - 619) / 150)),
    )


def _apple() -> Curve:
    start, cut, sigma = -0.05641088, 0.01, 47.28711236
    beta, gamma, delta = 0.00964052, 0.08550479, 0.69336945
    turn = sigma * (cut - start) ** 2
    return Curve(
        lambda x: np.where(
            x >= cut, gamma * np.log2(x + beta) + delta, sigma * np.maximum(x - start, 0.0) ** 2
        ),
        lambda y: np.where(
            y >= turn, 2 ** ((y - delta) / gamma) - beta, np.sqrt(np.maximum(y, 0.0) / sigma) + start
        ),
    )


def _acescc() -> Curve:
    def encode(x: Array) -> Array:
        low = np.log2(2.0**-16 + np.maximum(x, 0.0) * 0.5)
        return (np.where(x >= 2.0**-15, np.log2(x), low) + 9.72) / 17.52

    def decode(y: Array) -> Array:
        light = 2 ** (y * 17.52 - 9.72)
        dark = (light - 2.0**-16) * 2
        return np.minimum(np.where(y < (9.72 - 15) / 17.52, dark, light), 65504.0)

    return Curve(encode, decode)


def _bt709() -> Curve:
    turn = 1.099 * 0.018**0.45 - 0.099
    return Curve(
        lambda x: np.where(x < 0.018, 4.5 * x, 1.099 * np.abs(x) ** 0.45 - 0.099),
        lambda y: np.where(y < turn, y / 4.5, np.abs((y + 0.099) / 1.099) ** (1 / 0.45)),
    )


# Kodak: black 95, white 685, 0.002 density a code, negative gamma 0.6. Below black's asymptote the encoder goes on at
# the floor of the code.
_CINEON_BLACK = 10 ** ((95 - 685) / 300)


def _cineon() -> Curve:
    black, floor = _CINEON_BLACK, 10 ** (-685 / 300)
    return Curve(
        lambda x: (685 + 300 * np.log10(np.maximum(x * (1 - black) + black, floor))) / 1023,
        lambda y: (10 ** ((1023 * y - 685) / 300) - black) / (1 - black),
    )


_LN10, _LG2 = math.log(10), math.log10(2)
_SLOG3_TOE = (171.2102946929 - 95) / 0.01125
_CURVES = {
    "linear": Curve(lambda x: x, lambda y: y),
    "LogC4": _logc4(),
    "S-Log": _slog(1.0),
    "S-Log2": _slog(155 / 219),
    "S-Log3": _toed(
        b=0.01,
        c=261.5 / 1023,
        d=(420 - 261.5 * math.log10(0.19)) / 1023,
        e=_SLOG3_TOE / 1023,
        f=95 / 1023,
        cut=0.01125,
        code_cut=171.2102946929 / 1023,
    ),
    "V-Log": _toed(b=0.00873, c=0.241514, d=0.598206, e=5.6, f=0.125, cut=0.01, code_cut=0.181),
    "Log3G10": _toed(
        a=155.975327, b=1.55975327 + 1, c=0.224282, d=0.0, e=15.1927, f=0.151927, cut=-0.01, code_cut=0.0
    ),
    "Canon Log": _mirrored(0.45310179, 10.1596, 0.12512248),
    "Canon Log 2": _mirrored(0.24136077, 87.09937546, 0.092864125),
    "Canon Log 3": Curve(_clog3_encode, _clog3_decode),
    "F-Log": _toed(
        a=0.555556,
        b=0.009468,
        c=0.344676,
        d=0.790453,
        e=8.735631,
        f=0.092864,
        cut=0.00089,
        code_cut=0.100537775223865,
    ),
    "F-Log2": _toed(
        a=5.555556,
        b=0.064829,
        c=0.245281,
        d=0.384316,
        e=8.799461,
        f=0.092864,
        cut=0.000889,
        code_cut=0.100686685370811,
    ),
    "N-Log": _nlog(),
    "L-Log": _toed(a=1.3, b=0.0115, c=0.27, d=0.6, e=8, f=0.09, cut=0.006, code_cut=0.138),
    # DJI's encoder is rounded and no exact inverse of its decoder: this one is.
    "D-Log": _toed(
        a=0.9892,
        b=0.0108,
        c=1 / 3.89616,
        d=2.27752 / 3.89616,
        e=6.025,
        f=0.0929,
        cut=(0.14 - 0.0929) / 6.025,
        code_cut=0.14,
    ),
    "Apple Log": _apple(),
    "Film Generation 5": _toed(
        b=0.005494072432257808,
        c=0.08692876065491224 * _LN10,
        d=0.5300133392291939,
        e=8.283605932402494,
        f=0.09246575342465753,
        cut=0.005,
    ),
    "Cineon": _cineon(),
    "ACEScc": _acescc(),
    "ACEScct": _toed(
        b=0.0,
        c=1 / (17.52 * _LG2),
        d=9.72 / 17.52,
        e=10.5402377416545,
        f=0.0729055341958355,
        cut=0.0078125,
        code_cut=0.155251141552511,
    ),
    "BT.709": _bt709(),
}


def find_curve(name: str, exposure_index: int | None = None) -> Curve:
    """The curve of that name, as `encodings` has it; LogC3 by its exposure index, 800 unless stated. KeyError if unknown."""
    return _logc3(exposure_index or 800) if name == "LogC3" else _CURVES[name]
