"""Lattices of show LUTs that have curves ahead of their 3D part, or are curves alone.

What acts on each channel alone goes into the shaper ahead of the lattice, so that the lattice's points are the LUT's own, or
halves and quarters of them: a 1D and a 3D LUT together are then as exact as a 3D one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.luts.lattice_lut import Lut
from rushlight.pipelines.luts.lut_nodes import Curves, Lattice, Node, NodeLut

if TYPE_CHECKING:
    from rushlight.pipelines.colour.look import Look, LutOfAnyKind, ShowLut

__all__ = ["can_be_shaped", "shaped_lattice"]

Array = NDArray[np.float64]
CURVE_POINTS = 33  # of the lattice of curves alone, on which nothing bends


def can_be_shaped(lut: LutOfAnyKind, size: int) -> bool:
    """True if a lattice of at most `size` points a side has the LUT's own points behind a shaper."""
    ahead, rest = _split(lut)
    if not rest:
        return bool(ahead)
    return isinstance(rest[0], Lattice) and rest[0].lut.size <= size


def shaped_lattice(look: Look, signal: Array, size: int) -> tuple[Array, Array]:
    """Lattice coordinates (3, S) at the steps `signal` (S,), and values (N, N, N, 3) of the display's signal, for a look
    whose show LUT can be shaped and has nothing ahead of it."""
    show = look.show_lut
    assert show is not None
    ahead, rest = _split(show.lut)
    low, high, count = _domain(show, rest, size)
    values = show.levelled(np.repeat(signal[:, None], 3, 1))
    values = NodeLut(nodes=tuple(ahead)).apply(values)
    places = np.nan_to_num((values - low) / (high - low), nan=0.0) * (count - 1)
    axes = [np.linspace(a, b, count) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), -1)
    given = NodeLut(nodes=tuple(rest)).apply(points, show.interpolation)
    places = np.round(np.clip(places, -1.0, count) * 2.0**16) / 2.0**16  # as float32 holds them
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


def _split(lut: LutOfAnyKind) -> tuple[Sequence[Node], Sequence[Node]]:
    """The nodes that act on each channel alone, up to the first that does not; and the rest."""
    nodes: Sequence[Node] = ()
    if isinstance(lut, NodeLut):
        nodes = lut.nodes
    elif isinstance(lut, Lut) and lut.shaper is not None:
        curves = Curves(table=lut.shaper, low=lut.shaper_min, high=lut.shaper_max)
        nodes = (curves, Lattice(lut=replace(lut, shaper=None)))
    elif isinstance(lut, Lut):
        nodes = (Lattice(lut=lut),)
    first = next((k for k, node in enumerate(nodes) if not node.alone), len(nodes))
    return nodes[:first], nodes[first:]
