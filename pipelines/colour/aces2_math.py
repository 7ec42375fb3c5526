"""ACES 2.0's output transform to SDR by arithmetic that every processor rounds alike.

The Academy's ACES 2.0 output transform (aces-core 2.0: Lib.Academy.OutputTransform, Lib.Academy.Tonescale) as
OpenColorIO 2.5 has it: the responses of CAM16 (Li et al., Color Res. Appl. 42, 2017), opponent signals A a b, tone
scale, chroma compression, gamut compression along lines towards a focus, and back to the display's light. Lightness
is J = 100 A^cz, colourfulness M = |a b|. Powers are look-ups; sums, products, quotients and square roots are IEEE
754's; nothing comes from a mathematical library, so that all machines of a farm agree. float64.

Every function takes arrays of one shape, or `Lanes` (grading/lanes.py), of which the kernel's vectors are compiled from this
same text; hence `pick` for every choice. The numbers of a transform (aces2_tables.py) are one row. Black and colours past the peak need no care; NaN does.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

__all__ = [
    *("EXPONENTS", "HUES", "LENGTH", "LIGHTNESS", "OCTAVES", "PEAK", "SMOOTH_CUSPS", "Three"),
    *(
        "STEPS",
        "STRETCH",
        "TONES",
        "TURNS",
        "boundary",
        "by_parts",
        "display_light",
        "focus",
        "gain",
        "light_of",
    ),
    *("meeting", "pick", "power", "product", "raised", "slope_at"),
]

Array = NDArray[np.float64]  # or `Lanes`, which stand for one
Three = tuple[Array, Array, Array]

PEAK = 100.0  # J of the display's peak, 100 cd/m2
MIDDLE = 34.096534820  # J of 10.013 cd/m2, the tone scale's mid grey
FOCUS_GAIN, SMOOTH_CUSPS, COMPRESS_FROM = 1.35, 0.12, 0.75

# Exponents of the power tables: cone responses and back, A of J, the gamut's lower hull, stretched light (shaper.py).
RESPONSE, CONE, LIGHTNESS, HULL, STRETCH = 0, 1, 2, 3, 4
EXPONENTS = (0.42, 1 / 0.42, 1 / (0.59 * (1.48 + 0.2**0.5)), 1 / 1.14, 1 / 2.4)
STEPS, OCTAVES = 512, 50  # a table: the powers of 1 to 2 in steps, then those of 2^-50 to 2^50
POWER = STEPS + 1 + 2 * OCTAVES + 1

TONES = (-14, 6, 128)  # the tone table: octaves of A from and to, points an octave; A and J after it at each
TONED = (TONES[1] - TONES[0]) * TONES[2] + 1
TURNS = 4096  # steps of hue once round; at each reach M, chroma norm, the cusp's J and M, 1 / gamma of the upper hull

# Where each begins in the row: AP1 to cone signals, responses to A a b, A a b to responses, cone signals to display RGB.
TO_CONE, TO_OPPONENT, TO_RESPONSE, TO_LIGHT, POWERS = 0, 9, 18, 27, 36
TONE = POWERS + len(EXPONENTS) * POWER
HUES = TONE + 2 * TONED
LENGTH = HUES + 5 * (TURNS + 1)


def pick(condition: NDArray[np.bool_], first: Array | float, second: Array | float) -> Array:
    """One of two, number by number; what is not taken may be anything."""
    return np.where(condition, first, second)


def _log2(x: Array) -> Array:
    """Of a normal x > 0, to 5e-10: the series of the inverse hyperbolic tangent about the nearest power of 2."""
    bits = x.view(np.int64)
    part = ((bits & 0xFFFFFFFFFFFFF) | 0x3FF0000000000000).view(np.float64)
    high = part > 1.4142135623730951
    part = part * pick(high, 0.5, 1.0)
    t = (part - 1.0) / (part + 1.0)
    s = t * t
    octave = (bits >> 52) - pick(high, 1022, 1023)
    return octave + 2.8853900817779268 * t * (1.0 + s * (1 / 3 + s * (1 / 5 + s * (1 / 7 + s / 9))))


def power(x: Array, exponent: Array) -> Array:
    """x^exponent to 1e-8 of it for any exponent, 2^±1000 at the most; 0 for x at and below 1e-30."""
    y = exponent * _log2(np.maximum(x, 1e-30))
    whole = np.floor(y + 0.5).astype(np.int64)
    f = (y - whole) * 0.6931471805599453
    s = 1 / 24 + f * (1 / 120 + f * (1 / 720 + f * (1 / 5040)))
    s = 1.0 + f * (1.0 + f * (0.5 + f * (1 / 6 + f * s)))
    return pick(x > 1e-30, s * ((whole + 1023) << 52).view(np.float64), 0.0)


def raised(x: Array, row: Array, which: int) -> Array:
    """x to one of EXPONENTS, to 2e-6 of it; 0 for x below 2^-50; for 2^51 and more, and NaN, any number."""
    at = POWERS + which * POWER
    bits = np.maximum(x, 8.9e-16).view(np.int64)
    within = bits & 0xFFFFFFFFFFFFF
    step = at + (within >> 43)
    low = row[step]
    part = (within & 0x7FFFFFFFFFF) * 1.1368683772161603e-13  # 2^-43
    found = row[at + STEPS + OCTAVES - 1022 + (bits >> 52)] * (low + part * (row[step + 1] - low))
    return pick(x < 8.9e-16, 0.0, found)


def product(row: Array, at: int, x: Array, y: Array, z: Array) -> Three:
    """A matrix of the row, three by three, times x y z."""
    return (
        row[at] * x + row[at + 1] * y + row[at + 2] * z,
        row[at + 3] * x + row[at + 4] * y + row[at + 5] * z,
        row[at + 6] * x + row[at + 7] * y + row[at + 8] * z,
    )


def _response(cone: Array, row: Array) -> Array:
    """CAM16's compression of a cone signal, odd about 0."""
    p = raised(np.abs(cone), row, RESPONSE)
    return np.copysign(p / (27.13 + p), cone)


def _cone(value: Array, row: Array) -> Array:
    """`_response` undone, up to 0.99."""
    held = np.minimum(np.abs(value), 0.99)
    return np.copysign(raised(27.13 * held / (1.0 - held), row, CONE), value)


def light_of(a: Array, cos_m: Array, sin_m: Array, row: Array) -> Three:
    """Display RGB of A and the two components of M."""
    x, y, z = product(row, TO_RESPONSE, a, cos_m, sin_m)
    return product(row, TO_LIGHT, _cone(x, row), _cone(y, row), _cone(z, row))


def _toe(x: Array, limit: Array, k1: Array, k2: Array) -> Array:
    k2 = np.maximum(k2, 0.001)
    k1 = np.sqrt(k1 * k1 + k2 * k2)
    k3 = (limit + k1) / (limit + k2)
    over = k3 * x - k1
    return pick(x > limit, x, 0.5 * (over + np.sqrt(np.maximum(over * over + 4.0 * k2 * k3 * x, 0.0))))


def focus(cusp_j: Array) -> Array:
    """J of the point that lines of compression run towards."""
    return cusp_j + (MIDDLE - cusp_j) * np.minimum(1.0, 1.3 - cusp_j / PEAK)


def gain(j: Array, cusp_j: Array) -> Array:
    """Flatness of those lines: flatter towards white."""
    threshold = cusp_j + 0.3 * (PEAK - cusp_j)
    ratio = (PEAK - threshold) / np.maximum(0.0001, PEAK - j)
    more = 0.30102999566398120 * _log2(np.maximum(ratio, 1.0))
    return PEAK * FOCUS_GAIN * (more * more + 1.0)


def meeting(j: Array, m: Array, focus_j: Array, flat: Array) -> Array:
    """J at which the line through (J, M) meets the axis of greys."""
    scaled = m / flat
    a = scaled / focus_j
    below = j < focus_j
    b = pick(below, 1.0 - scaled, 1.0 + scaled + PEAK * a)
    c = pick(below, j, PEAK * scaled + j)
    return 2.0 * c / (b + np.sqrt(np.maximum(b * b + pick(below, 4.0, -4.0) * a * c, 0.0)))


def slope_at(meets: Array, focus_j: Array, flat: Array) -> Array:
    """dJ / dM of that line."""
    return pick(meets < focus_j, meets, PEAK - meets) * (meets - focus_j) / (focus_j * flat)


def boundary(
    meets: Array, slope: Array, cusp_j: Array, cusp_m: Array, top: Array, flat: Array, row: Array
) -> Array:
    """M of the display's gamut along a line: the lesser of its two hulls, rounded where they meet."""
    at_cusp = meeting(cusp_j, cusp_m, focus(cusp_j), flat)
    lower = at_cusp * raised(meets / at_cusp, row, HULL) * cusp_m / (cusp_j - slope * cusp_m)
    above = PEAK - at_cusp
    upper = above * power((PEAK - meets) / above, top) * cusp_m / (PEAK - cusp_j + slope * cusp_m)
    near = SMOOTH_CUSPS * cusp_m
    h = np.maximum(near - np.abs(lower - upper), 0.0) / near
    return np.minimum(lower, upper) - h * h * h * near / 6.0


def _inside(
    j: Array, m: Array, reach: Array, cusp_j: Array, cusp_m: Array, top: Array, row: Array
) -> tuple[Array, Array]:
    """J and M within the display's gamut."""
    focus_j, flat = focus(cusp_j), gain(j, cusp_j)
    meets = meeting(j, m, focus_j, flat)
    slope = slope_at(meets, focus_j, flat)
    most = boundary(meets, slope, cusp_j, cusp_m, top, flat, row)
    farthest = PEAK * raised(meets / PEAK, row, LIGHTNESS) * reach / (PEAK - slope * reach)
    share = np.maximum(most / farthest, COMPRESS_FROM)
    begin = share * most
    room = (farthest - begin) / ((farthest - begin) / (most - begin) - 1.0)
    over = m - begin
    bent = (over > 0.0) & (share < 1.0)
    held = pick(most > 0.0, pick(bent, begin + room * over / (room + over), m), 0.0)
    return pick(most > 0.0, meets + held * slope, j), held


def _turn(a: Array, b: Array) -> Array:
    """A hue as 0..4, once round, without trigonometry: b / (|a| + |b|) in the first quarter, and so on."""
    part = b / np.maximum(np.abs(a) + np.abs(b), 1e-30)
    return pick(a < 0.0, 2.0 - part, pick(b < 0.0, 4.0 + part, part))


def _toned(a: Array, row: Array) -> tuple[Array, Array]:
    """A and J after the tone scale: its table's points lie evenly within octaves."""
    first, last, parts = TONES
    bits = np.minimum(np.maximum(a, 2.0**first), 2.0**last * 0.999999).view(np.int64)
    place = (((bits & 0xFFFFFFFFFFFFF) | 0x3FF0000000000000).view(np.float64) - 1.0) * parts
    step = place.astype(np.int64)
    part, at = place - step, TONE + 2 * (((bits >> 52) - 1023 - first) * parts + step)
    return row[at] + part * (row[at + 2] - row[at]), row[at + 1] + part * (row[at + 3] - row[at + 1])


def display_light(red: Array, green: Array, blue: Array, row: Array) -> Three:
    """Display RGB, 1 the peak, before any clip, of scene-linear AP1; components count as 0 to 1024."""
    red = np.minimum(np.maximum(red, 0.0), 1024.0)
    green = np.minimum(np.maximum(green, 0.0), 1024.0)
    blue = np.minimum(np.maximum(blue, 0.0), 1024.0)
    x, y, z = product(row, TO_CONE, red, green, blue)
    a, p, q = product(row, TO_OPPONENT, _response(x, row), _response(y, row), _response(z, row))
    m = np.sqrt(p * p + q * q)
    toned_a, j = _toned(a, row)
    place = _turn(p, q) * (TURNS / 4)
    step = np.minimum(place.astype(np.int64), TURNS - 1)
    part, at = place - step, HUES + 5 * step
    reach = row[at] + part * (row[at + 5] - row[at])
    norm = row[at + 1] + part * (row[at + 6] - row[at + 1])
    cusp_j = row[at + 2] + part * (row[at + 7] - row[at + 2])
    cusp_m = row[at + 3] + part * (row[at + 8] - row[at + 3])
    top = row[at + 4] + part * (row[at + 9] - row[at + 4])
    bright = j / PEAK
    dark = np.maximum(0.0, 1.0 - bright)
    limit = toned_a * reach / norm
    toned = m * toned_a / (np.maximum(a, 1e-9) * norm)
    toned = limit - _toe(limit - toned, limit - 0.001, dark * 1.3, np.sqrt(bright * bright + 0.005))
    toned = _toe(toned, limit, bright * 2.4, dark) * norm
    j, inside = _inside(j, toned, reach, cusp_j, cusp_m, top, row)
    grey = (toned <= 0.0) | (bright > 1.0)
    share = pick(grey, 0.0, inside / np.maximum(m, 1e-30))
    shown = pick(a > 1e-9, pick(grey, toned_a, raised(j / 100.0, row, LIGHTNESS)), 0.0)
    return light_of(shown, share * p, share * q, row)


def by_parts(function: Callable[[Array, Array, Array, Array], Three], colours: Array, row: Array) -> Array:
    """Apply a function of three components and a row to colours (N, 3), few enough at a time that their
    arrays stay in a processor's cache, and silent about what `pick` leaves out."""
    found, many = np.empty(colours.shape), 1 << 14
    with np.errstate(all="ignore"):
        for start in range(0, len(colours), many):
            red, green, blue = colours[start : start + many].T
            found[start : start + many] = np.transpose(function(red, green, blue, row))
    return found
