"""Lattices of show LUTs that have curves ahead of their 3D part or after it, or are curves alone.

What acts on each channel alone goes into the shaper ahead of the lattice, so that the lattice's points are the LUT's own, or
halves and quarters of them: a 1D and a 3D LUT together are then as exact as a 3D one. What acts on all channels alike at the end, a display's
curve and its clamps, goes into the curve after the lattice: its clamps bend nothing between the lattice's points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.grading.shaper import FLOOR, knots
from rushlight.pipelines.luts.lattice_lut import Lut
from rushlight.pipelines.luts.lut_nodes import Curves, Lattice, Node, NodeLut

if TYPE_CHECKING:
    from rushlight.pipelines.colour.interpolation import Interpolation
    from rushlight.pipelines.colour.look import Look, LutOfAnyKind, ShowLut

__all__ = ["Held", "can_be_shaped", "held_before_a_curve", "shaped_lattice"]

Array = NDArray[np.float64]
CURVE_POINTS = 33  # of the lattice of curves alone, on which nothing bends
TOP = 4 / 3  # value from which on, as from 0 downwards, a curve after the lattice must be level


@dataclass(frozen=True, kw_only=True, eq=False)
class Held:
    """What a lattice holds of a look that ends in one curve for all channels: values of the nodes `before` it, scaled to the
    `knots` of `curve` (K,), the display's signal."""

    before: tuple[Node, ...]
    curve: Array

    def values(self, points: Array, interpolation: Interpolation) -> Array:
        """Held values of what goes into the nodes, (..., 3) both."""
        found = NodeLut(nodes=self.before).apply(points, interpolation)
        return FLOOR + np.nan_to_num(found) * ((1 - FLOOR) / TOP)


def held_before_a_curve(look: Look) -> Held | None:
    """The part of a show LUT ahead of its last curve; None where it ends in none that is alike for all channels and level outside
    0..TOP, or where its output is shown in the light of another display or graded."""
    show = look.show_lut
    if show is None or show.display is not None or (look.cdl and look.grade_order == "after"):
        return None
    nodes = _nodes(show.lut)
    last = next((k for k in range(len(nodes), 0, -1) if not nodes[k - 1].alone), 0)
    if last in (0, len(nodes)):
        return None
    end = NodeLut(nodes=tuple(nodes[last:]))

    def shown(value: Array) -> Array:
        return look.after_lut(show.given(end.apply(np.repeat(value[:, None], 3, 1))))

    outside = shown(np.array([0.0, -1e-3, -1.0, -100.0, TOP, 2.0, 100.0]))
    curve = shown((knots() - FLOOR) * (TOP / (1 - FLOOR)))
    level = np.ptp(outside[:4], axis=0).max() < 1e-6 and np.ptp(outside[4:], axis=0).max() < 1e-6
    if not level or np.ptp(curve, axis=1).max() > 1e-6:
        return None
    return Held(before=tuple(nodes[:last]), curve=curve[:, 0])


def can_be_shaped(lut: LutOfAnyKind, size: int) -> bool:
    """True if a lattice of at most `size` points a side has the LUT's own points behind a shaper."""
    ahead, rest = _split(_nodes(lut))
    if not rest:
        return bool(ahead)
    return isinstance(rest[0], Lattice) and rest[0].lut.size <= size


def shaped_lattice(look: Look, signal: Array, size: int, held: Held | None) -> tuple[Array, Array]:
    """Lattice coordinates (3, S) at the steps `signal` (S,), and values (N, N, N, 3) of the display's signal or as `held`, for a
    look whose show LUT can be shaped and has nothing ahead of it."""
    show = look.show_lut
    assert show is not None
    ahead, rest = _split(held.before if held else _nodes(show.lut))
    low, high, count = _domain(show, rest, size)
    values = show.levelled(np.repeat(signal[:, None], 3, 1))
    values = NodeLut(nodes=tuple(ahead)).apply(values)
    places = np.nan_to_num((values - low) / (high - low), nan=0.0) * (count - 1)
    places = np.round(np.clip(places, -1.0, count) * 2.0**16) / 2.0**16  # as float32 holds them
    axes = [np.linspace(a, b, count) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), -1)
    if held:
        return places.T, replace(held, before=tuple(rest)).values(points, show.interpolation)
    given = NodeLut(nodes=tuple(rest)).apply(points, show.interpolation)
    return places.T, look.after_lut(show.given(given))


def _domain(show: ShowLut, rest: Sequence[Node], size: int) -> tuple[Array, Array, int]:
    """Lower and upper ends (3,) of the lattice, and its points a side."""
    if rest:
        assert isinstance(rest[0], Lattice)
        lut = rest[0].lut
        parts = max(1, (size - 1) // (lut.size - 1))
        return np.array(lut.domain_min), np.array(lut.domain_max), (lut.size - 1) * parts + 1
    narrow = show.output_levels == "narrow"  # beyond these ends the display's signal is clipped
    low, high = (64 / 1023, 940 / 1023) if narrow else (0.0, 1.0)
    return np.full(3, low), np.full(3, high), size if show.display else min(size, CURVE_POINTS)


def _nodes(lut: LutOfAnyKind) -> Sequence[Node]:
    if isinstance(lut, NodeLut):
        return lut.nodes
    if not isinstance(lut, Lut):
        return ()
    if lut.shaper is None:
        return (Lattice(lut=lut),)
    curves = Curves(table=lut.shaper, low=lut.shaper_min, high=lut.shaper_max)
    return curves, Lattice(lut=replace(lut, shaper=None))


def _split(nodes: Sequence[Node]) -> tuple[Sequence[Node], Sequence[Node]]:
    """The nodes that act on each channel alone, up to the first that does not; and the rest."""
    first = next((k for k, node in enumerate(nodes) if not node.alone), len(nodes))
    return nodes[:first], nodes[first:]
