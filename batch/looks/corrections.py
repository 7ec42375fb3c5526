"""Exposure, white balance and printer points: what a row says of them, else the recipe.

A white is written as CIE 1931 `x y`, or as the colour temperature of daylight, such as `5600K`.
"""

from __future__ import annotations

import math
from typing import TypedDict

from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.colour.cdl import Triple
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.recipe.model import LookSettings

__all__ = ["corrections", "daylight"]

MOST_STOPS = 16.0
MOST_POINTS = 100.0


def daylight(kelvin: float) -> tuple[float, float]:
    """CIE 1931 x, y of daylight at a correlated colour temperature of 4000 to 25000 K (CIE 15:2004, 3.1, equations 3.2
    to 3.4). ListError outside."""
    if not 4000 <= kelvin <= 25000:
        raise ListError(
            f"{kelvin:g}K lies outside daylight's 4000K to 25000K; give the white as x y", key="white_balance"
        )
    t = 1000 / kelvin
    if kelvin <= 7000:
        x = -4.6070 * t**3 + 2.9678 * t**2 + 0.09911 * t + 0.244063
    else:
        x = -2.0064 * t**3 + 1.9018 * t**2 + 0.24748 * t + 0.237040
    return x, -3.0 * x * x + 2.870 * x - 0.275


class Corrections(TypedDict):
    exposure: float  # stops
    white_balance: tuple[float, float] | None  # CIE x, y of the scene's white
    printer_points: Triple | None


def corrections(row: Row, recipe: LookSettings) -> Corrections:
    """The fields `exposure`, `white_balance` and `printer_points` of a look. ListError naming the key at fault."""
    text = {
        key: row[key] or str(getattr(recipe, key)) for key in ("exposure", "white_balance", "printer_points")
    }
    (stops,) = _numbers(text["exposure"], "exposure", 1, "a number of stops, such as -0.5") or (0.0,)
    if abs(stops) > MOST_STOPS:
        raise ListError(f"{stops:g} stops will not do; takes -16 to 16", key="exposure")
    points = _numbers(
        text["printer_points"], "printer_points", 3, "three numbers: points of red, green and blue"
    )
    if any(abs(p) > MOST_POINTS for p in points):
        raise ListError(f"{text['printer_points']!r} will not do; takes -100 to 100", key="printer_points")
    return {
        "exposure": stops,
        "white_balance": _white(text["white_balance"]),
        "printer_points": (points[0], points[1], points[2]) if any(points) else None,
    }


def _white(text: str) -> tuple[float, float] | None:
    key, wanted = (
        "white_balance",
        "the scene's white as CIE x y, such as 0.4476 0.4074, or as daylight: 5600K",
    )
    if text.strip().lower().endswith("k"):
        (kelvin,) = _numbers(text.strip()[:-1], key, 1, wanted) or (0.0,)
        return daylight(kelvin)
    found = _numbers(text, key, 2, wanted)
    if not found:
        return None
    x, y = found
    if not (x > 0.1 and y > 0.1 and x + y < 1):
        raise ListError(f"{text!r} is no white; takes {wanted}", key=key)
    return x, y


def _numbers(text: str, key: str, count: int, wanted: str) -> tuple[float, ...]:
    """So many finite numbers; none where the text is empty."""
    parts = text.replace(",", " ").replace(";", " ").replace("/", " ").split()
    if not parts:
        return ()
    try:
        found = tuple(float(part) for part in parts)
    except ValueError:
        found = ()
    if len(found) != count or not all(math.isfinite(v) for v in found):
        raise ListError(f"takes {wanted}; found {text[:60]!r}", key=key)
    return found
