"""The lattice of a look: where its points lie, and what they hold.

Three kinds, by what follows the grade:
- A show LUT, interpolated by tetrahedra: the points are the LUT's own, or halves and quarters of them, so that the
  lattice is the LUT, exactly; behind a shaper where it has curves ahead of them, and with a curve after it where it ends in one (lut_lattice.py).
- An ACES 2.0 transform to an SDR display, also after a LUT that gives a scene: the points lie closer where the transform bends, and hold display light
  before its last clip, stretched near black; a curve after the lattice makes the display's signal of it. Where the
  lattice errs too much it is marked for direct evaluation (display_transform.py).
- Anything else: even spacing, points at 0 and 1 of the signal, where clamps bend it, and the display's signal itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.colour.gamuts import AP1
from rushlight.pipelines.grading.display_transform import (
    CELL,
    can_unclip,
    direct_row,
    marked,
    unclipped,
)
from rushlight.pipelines.grading.lut_lattice import can_be_shaped, held_before_a_curve, shaped_lattice
from rushlight.pipelines.grading.shaper import light_curve, signal_of, stretched
from rushlight.pipelines.luts.lattice_lut import Lut

if TYPE_CHECKING:
    from rushlight.pipelines.colour.look import Look, ShowLut

__all__ = ["Lattice", "direct_of", "lattice", "lattice_kind", "span"]

Array = NDArray[np.float64]
# The signal that narrow 10-bit codes 4..1019 carry is -0.0685..1.0902; full codes lie inside.
CAMERA_SPAN = (-0.075, 1.1)
ACESCCT_SPAN = (-0.15, 1.475)  # scene-linear -0.02 to 65504 and a little
SHAPER_STEP = 0.005  # divides both spans, so that 0 and 1 are points of the shaper
FINE_STEP = SHAPER_STEP / 10  # where a LUT's own curves are the shaper, which may bend anywhere
MARKED_FROM = 65  # points a side from which cells are marked for direct evaluation
SMALLEST = 9  # points a side below which spacing is simply even

# Points an octave of scene light, up to a factor. Found by comparing with the exact transform: photographs want them in
# the shadows and above 8 too; the narrowest folds lie about the display's yellow and cyan, at 4 to 7.
_LIGHT = (0.0, 0.01, 0.02, 0.1, 0.3, 1.0, 2.0, 7.5, 9.0, 16.0, 40.0, 100.0)
_WEIGHT = (2.5, 3.5, 4.2, 4.2, 4.0, 4.0, 7.0, 7.0, 4.5, 4.0, 3.5, 1.5)
_TOE = 0.004  # below which octaves become even steps of light
_SHARE = 0.6  # of these in the spacing; the rest is from measured bends
_LINES = 17  # along each axis, a side


@dataclass(frozen=True, kw_only=True, eq=False)
class Lattice:
    """Points and values, float64."""

    places: Array  # (3, S): lattice coordinates at every step of the span, not yet clipped to 0..N-1
    values: Array  # (N, N, N, 3)
    light: bool  # stretched light, for `light_curve`; otherwise the display's signal 0..1
    share: Array | None = None  # (N, N, N): of `direct` evaluation, 0..1
    curve: Array | None = None  # (K,): after the lattice, in place of the display's


def span(look: Look) -> tuple[float, float]:
    """The encoded signal a look's tables span."""
    return ACESCCT_SPAN if look.encoding.kind == "linear" else CAMERA_SPAN


def steps(look: Look, step: float = SHAPER_STEP) -> Array:
    """The signal at each point of a shaper."""
    low, high = span(look)
    return np.linspace(low, high, round((high - low) / step) + 1)


def lattice_kind(look: Look, size: int) -> str:
    """Kind of lattice that a look gets: `lut`, `shaped`, `light` or `even`, or `shaped, curved` and `even, curved`; part of a lattice's name."""
    after = look.cdl is not None and look.grade_order == "after"
    if look.show_lut is not None and look.show_lut.scene is None:
        lut = look.show_lut.lut
        ahead = look.exposure or look.white_balance or look.printer_points or (look.cdl and not after)
        if ahead or look.show_lut.encoding is not None:
            return "even"
        if isinstance(lut, Lut) and lut.shaper is None:
            return "lut" if lut.size <= size else "even"
        kind = "shaped" if can_be_shaped(lut, size) else "even"
        return f"{kind}, curved" if held_before_a_curve(look) else kind
    if look.transform == "aces2" and can_unclip(look.display) and not after and size >= SMALLEST:
        return "light"
    return "even"


def lattice(look: Look, size: int) -> Lattice:
    """The lattice of everything in `look`, at most `size` points a side."""
    kind = lattice_kind(look, size)
    held = held_before_a_curve(look) if kind.endswith("curved") else None
    curve = held.curve if held else None
    if kind.startswith("shaped"):
        places, values = shaped_lattice(look, steps(look, FINE_STEP), size, held)
        return Lattice(places=places, values=values, light=held is not None, curve=curve)
    if kind == "lut":
        assert look.show_lut is not None
        size, places = _lut_places(look.show_lut, steps(look), size)
    else:
        place = _folded_places(look, size) if kind == "light" else _even_places(look, size)
        places = np.repeat(place[None], 3, 0)
    places = np.round(places * 2.0**16) / 2.0**16  # as float32 holds them
    code = np.stack(np.meshgrid(*_axes(places, steps(look), size), indexing="ij"), -1)
    if kind == "light":
        values = _balanced(stretched(_light(look, code)))
        direct = direct_of(look, places, size)
        share = None if direct is None else marked(values, light_curve(look.display), direct)
        return Lattice(places=places, values=values, light=True, share=share)
    if held and look.show_lut:
        values = held.values(look.show_lut.levelled(code), look.show_lut.interpolation)
        return Lattice(places=places, values=values, light=True, curve=curve)
    return Lattice(places=places, values=np.clip(look.evaluate(code), 0.0, 1.0), light=False)


def _axes(places: Array, signal: Array, size: int, parts: int = 1) -> list[Array]:
    """The signal at each lattice point of the three axes: the shapers' inverse, straight on past their ends."""
    points = np.arange((size - 1) * parts + 1) / parts
    found = []
    for row in places:
        axis = np.interp(points, row, signal)
        for outside, (a, b) in ((points < row[0], (0, 1)), (points > row[-1], (-2, -1))):
            slope = (signal[b] - signal[a]) / (row[b] - row[a])
            axis[outside] = signal[a] + (points[outside] - row[a]) * slope
        found.append(axis)
    return found


def _lut_places(show: ShowLut, signal: Array, size: int) -> tuple[int, Array]:
    """The size that halves or quarters a LUT's cells, and coordinates at which its points are the lattice's."""
    lut = show.lut
    assert isinstance(lut, Lut)
    parts = max(1, (size - 1) // (lut.size - 1))
    if show.input_levels == "narrow":
        signal = (signal * 876 + 64) / 1023
    rows = [
        (signal - low) / (high - low) * (lut.size - 1) * parts
        for low, high in zip(lut.domain_min, lut.domain_max, strict=True)
    ]
    return (lut.size - 1) * parts + 1, np.array(rows)


def _even_places(look: Look, size: int) -> Array:
    low, high = span(look)
    signal = steps(look)
    if look.encoding.kind == "linear" or size < SMALLEST:
        return (signal - low) / (high - low) * (size - 1)
    return np.interp(signal, [low, 0.0, 1.0, high], [0.0, 2.0, size - 3.0, size - 1.0])


def _light(look: Look, code: Array) -> Array:
    """Display light before the last clip, of camera signal values."""
    return unclipped(look.to_transform(look.graded(look.correct(code))), look.display)


def direct_of(look: Look, places: Array, size: int) -> Array | None:
    """Row for direct evaluation (`direct_row`) of the transform at lattice coordinates; None where a grade, white
    balance or LUT lies in the lattice, and for fewer points a side than MARKED_FROM: too many cells would ask for
    it."""
    inside = look.cdl or look.exposure or look.printer_points or look.white_balance or look.show_lut
    if inside or size < MARKED_FROM or lattice_kind(look, size) != "light":
        return None
    axes = _axes(places, steps(look), size, CELL)
    to_ap1: Array = np.linalg.solve(AP1.matrix_to_ap0(), look.working.matrix_to_ap0).astype(np.float64)
    light = np.array([np.clip(look.working.decode(axis), -65504.0, 65504.0) for axis in axes])
    return direct_row(look.display, to_ap1, light)


def _folded_places(look: Look, size: int) -> Array:
    """Coordinates spaced by bends, with points at 0, black and 1."""
    signal = steps(look)
    dense = _density(look, signal)
    grown = np.concatenate([[0.0], np.cumsum((dense[1:] + dense[:-1]) / 2)])
    grown *= (size - 1) / grown[-1]
    low, high = signal[0], signal[-1]
    black = float(look.working.encode(np.array(0.0)))
    marks = np.interp([low, 0.0, *([black] if 0.01 < black < 0.5 else []), 1.0, high], signal, grown)
    points = [0.0]
    for mark in marks[1:-1]:
        points.append(min(max(points[-1] + 1, np.round(mark)), size - 2.0))
    return np.interp(grown, marks, [*points, size - 1.0])


def _density(look: Look, signal: Array) -> Array:
    """Points a step of the shaper, up to a factor: by measured bends, and by where SDR transforms fold."""
    measured = np.interp(signal, *_bends(look))
    light = look.working.decode(signal)
    rise = np.gradient(light, signal)
    octave = np.interp(
        np.log2(np.maximum(light, 0) + _TOE), np.log2(np.array(_LIGHT) + _TOE), np.array(_WEIGHT)
    )
    folds = octave * rise / (np.abs(light) + _TOE) * np.where(light < 0, 0.8, 1.0)
    folds = np.maximum(folds / folds.mean(), 0.2)
    return np.asarray((1 - _SHARE) * measured / measured.mean() + _SHARE * folds / folds.mean())


def _bends(look: Look) -> tuple[Array, Array]:
    """Signal, and the root of what halving the steps there would change in the display's signal, in the mean over
    lines along the three axes (fourth powers)."""
    low, high = span(look)
    signal = np.linspace(low, high, 141)
    across = np.linspace(0.0, 1.0, _LINES)
    total = np.zeros(len(signal))
    for k in range(3):
        axes = [across, across, across]
        axes[k] = signal
        lines = _light(look, np.stack(np.meshgrid(*axes, indexing="ij"), -1))
        lines = np.moveaxis(lines, k, 0).reshape(len(signal), -1)
        held = stretched(lines)
        halves = signal_of(look.display, (held[2:] + held[:-2]) / 2)
        total[1:-1] += (np.abs(halves - look.display.from_light(lines[1:-1])) ** 4).mean(1)
    found = (total / 3) ** 0.25
    found = np.sqrt(np.convolve(np.pad(found, 3, "edge"), np.full(7, 1 / 7), "valid"))
    return signal, np.maximum(found / found.mean(), 0.3)


def _balanced(values: Array) -> Array:
    """Values moved so that the mean error over a cell's tetrahedra is nil for whatever is quadratic there.

    Linear interpolation errs by minus half the sum of pairwise products of weights times second differences along
    edges; the mean product over a tetrahedron is a twentieth. Of the six tetrahedra each has an edge along every axis,
    two of three face diagonals and the space diagonal. The diagonal of the lattice is left as it is: greys stay grey.
    """
    padded = np.pad(values, ((1, 1), (1, 1), (1, 1), (0, 0)), "edge")
    inner = tuple(slice(1, 1 + n) for n in values.shape[:3])
    total = np.zeros(values.shape)
    for edge, share in _EDGES:
        for sign in (1, -1):
            moved = tuple(
                slice(s.start + sign * e, s.stop + sign * e) for s, e in zip(inner, edge, strict=True)
            )
            total += share * padded[moved]
        total -= 2 * share * values
    grey = np.arange(len(values))
    total[grey, grey, grey] = 0.0
    return values - total / 40


_EDGES = (
    *(((1, 0, 0), 1.0), ((0, 1, 0), 1.0), ((0, 0, 1), 1.0)),
    *(((1, 1, 0), 2 / 3), ((0, 1, 1), 2 / 3), ((1, 0, 1), 2 / 3)),
    ((1, 1, 1), 1.0),
)
