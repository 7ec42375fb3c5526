"""A 24-patch chart in a picture: where somebody says that it lies, and by how much it is not what the chart is published as.

Four corners of the patches, in pixels of the original, clockwise from the top left of dark skin: what the outer patches' edges meet
in. Perspective is undone (the projective map of a square); the middle of each patch is averaged in scene light. Nothing is corrected.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.chart import PATCHES
from rushlight.pipelines.colour.gamuts import ACES_WHITE, AP0, D65, adaptation
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import ListError, TimecodeError
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.measure.colour_difference import delta_e, lab

__all__ = ["ChartFound", "ChartPlace", "cct_and_duv", "chart_found", "chart_place", "patch_light"]

Array = NDArray[np.float64]
COLUMNS, ROWS = 6, 4
INSIDE = 0.25  # of a patch's width to each side of its middle
POINTS = 15  # across, of those that are averaged
GREYS = ("neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5")  # white may clip, black has flare
WANTED = "eight numbers, x and y of four corners clockwise from the top left of dark skin, and after `@` a timecode"


@dataclass(frozen=True, kw_only=True)
class ChartPlace:
    """Corners (x, y) in pixels of the original, and the frame after the clip's first."""

    corners: tuple[tuple[float, float], ...]
    offset: int


@dataclass(frozen=True, kw_only=True)
class ChartFound:
    """The chart as the camera has it, ahead of the row's corrections, and through the whole look.

    `exposure` is in stops, more where the camera has it brighter than published; `cct` (kelvin) and `duv` are those of the greys, which a
    neutral picture shows as D65; `difference` is CIEDE2000 of each patch through the look to what it is published as through the
    same look; `colour_of_greys` is the largest CIE C*ab that the look leaves in a grey.
    """

    exposure: float
    cct: float
    duv: float
    light: Array  # (24, 3), ACES2065-1
    shown: Array  # (24, 3), CIE L*a*b*
    difference: Array  # (24,)
    colour_of_greys: float


def chart_place(text: str, start: Timecode, count: int) -> ChartPlace | None:
    """A row's cell; None of an empty one. Without a timecode, the middle of the clip; one may lie outside it. ListError
    with key `chart` for anything else."""
    if not text.strip():
        return None
    numbers, _, at = (part.strip() for part in text.partition("@"))
    parts = [p for p in re.split(r"[,;\s]+", numbers) if p]
    if len(parts) != 8 or not all(re.fullmatch(r"\d{1,5}(\.\d{1,3})?", p) for p in parts):
        raise ListError(f"{text[:60]!r} will not do; takes {WANTED}", key="chart")
    values = [float(p) for p in parts]
    corners = tuple(zip(values[::2], values[1::2], strict=True))
    turns = [_turn(corners[k - 2], corners[k - 1], corners[k]) for k in range(4)]
    if min(turns) <= 0:
        raise ListError(
            "its corners do not go round clockwise from the top left of dark skin, or three lie in a line",
            key="chart",
        )
    try:
        offset = start.until(Timecode.parse(at, start.rate)) if at else count // 2
    except TimecodeError as error:
        raise ListError(f"{at[:40]!r} is no timecode of the clip: {error.text}", key="chart") from None
    return ChartPlace(corners=corners, offset=offset)


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Twice the area of a triangle; more than 0 where it goes clockwise, y counting down."""
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])


def patch_light(signal: ArrayLike, look: Look, place: ChartPlace) -> Array:
    """ACES2065-1 (24, 3) of the patches in a picture's signal (h, w, 3), the chart's own order. ListError where they leave the picture."""
    values = np.asarray(signal, np.float64)
    across, down = np.meshgrid(np.arange(COLUMNS) + 0.5, np.arange(ROWS) + 0.5)
    middles = np.stack([across.ravel() / COLUMNS, down.ravel() / ROWS], -1)
    side = np.linspace(-INSIDE, INSIDE, POINTS)
    spread = np.stack(np.meshgrid(side / COLUMNS, side / ROWS), -1).reshape(-1, 2)
    places = _through(middles[:, None] + spread, np.array(place.corners))
    x, y = np.floor(places[..., 0]).astype(np.intp), np.floor(places[..., 1]).astype(np.intp)
    height, width = values.shape[:2]
    if x.min() < 0 or y.min() < 0 or x.max() >= width or y.max() >= height:
        raise ListError(f"its corners leave the picture, which is {width}x{height}", key="chart")
    light: Array = look.working.to_ap0(values[y, x]).mean(1)
    return light


def _through(places: Array, corners: Array) -> Array:
    """Places (..., 2) of the unit square, in a quadrilateral of these corners (4, 2), clockwise from 0, 0."""
    square = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
    rows = []
    for (u, v), (x, y) in zip(square, corners, strict=True):
        rows.append([u, v, 1, 0, 0, 0, -u * x, -v * x])
        rows.append([0, 0, 0, u, v, 1, -u * y, -v * y])
    h = np.append(np.linalg.solve(np.array(rows), corners.ravel()), 1.0).reshape(3, 3)
    mapped = np.concatenate([places, np.ones((*places.shape[:-1], 1))], -1) @ h.T
    found: Array = mapped[..., :2] / mapped[..., 2:]
    return found


def chart_found(light: ArrayLike, look: Look) -> ChartFound:
    """What a chart of this light (24, 3) says."""
    values, published = np.asarray(light, np.float64), np.array(list(PATCHES.values()))
    greys = [list(PATCHES).index(name) for name in GREYS]
    luminance = AP0.to_xyz()[1]
    ratio = np.maximum(values[greys] @ luminance, 1e-6) / (published[greys] @ luminance)
    # The published greys are not quite neutral themselves: what they lack is no fault of the light.
    grey = (values[greys] / published[greys]).mean(0)
    cct, duv = cct_and_duv(adaptation(ACES_WHITE, D65, "CAT02") @ AP0.to_xyz() @ grey)
    shown, wanted = (
        lab(look.display.to_xyz(look.evaluate(look.working.from_ap0(each)))) for each in (values, published)
    )
    return ChartFound(
        exposure=float(np.median(np.log2(ratio))),
        cct=cct,
        duv=duv,
        light=values,
        shown=shown,
        difference=delta_e(shown, wanted),
        colour_of_greys=float(np.hypot(shown[greys, 1], shown[greys, 2]).max()),
    )


def cct_and_duv(xyz: ArrayLike) -> tuple[float, float]:
    """Correlated colour temperature in kelvin (McCamy 1992, good from some 2800 to 10 000 K) and Duv, the distance from the Planckian
    locus, green above 0 (ANSI C78.377-2011, equation 2). No light gives NaN."""
    x, y, z = np.asarray(xyz, np.float64)
    if min(x, y, z) <= 0:
        return float("nan"), float("nan")
    small_x, small_y = x / (x + y + z), y / (x + y + z)
    n = (small_x - 0.3320) / (0.1858 - small_y)
    u, v = 4 * x / (x + 15 * y + 3 * z) - 0.292, 6 * y / (x + 15 * y + 3 * z) - 0.24
    far = np.hypot(u, v)
    curve = (-0.00616793, 0.0893944, -0.5179722, 1.5317403, -2.4243787, 1.925865, -0.471106)
    cct = ((449 * n + 3525) * n + 6823.3) * n + 5520.33
    return float(cct), float(far - np.polyval(curve, np.arccos(u / far)))
