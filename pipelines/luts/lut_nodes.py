"""LUTs of several nodes, one after another: curves, lattices, matrices, ranges, logarithms, exponents, CDLs.

Each node is evaluated in float64 by the formulas of SMPTE ST 2136-1 (CLF; as S-2014-006 has them: from memory), on
values of which 0..1 is the range of the file's bit depth. A NaN stays one in arithmetic; tables and clamps take it
as their lower end.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.interpolation import Interpolation
from rushlight.pipelines.luts.lattice_lut import Lut

__all__ = [
    "AnyLut",
    "Curves",
    "Decision",
    "Exponent",
    "HalfCurves",
    "Lattice",
    "Logarithm",
    "Matrix",
    "MonCurve",
    "Node",
    "NodeLut",
    "Range",
]

Array = NDArray[np.float64]
Triple = tuple[float, float, float]
SMALLEST = float(np.finfo(np.float32).tiny)  # a logarithm is of no less
HALF = 65504.0  # the largest half float


class Node(Protocol):
    """One step of a LUT. `label` names it in a word or two; `alone`: it acts on each channel alone."""

    @property
    def label(self) -> str: ...
    @property
    def alone(self) -> bool: ...
    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        """Values (n, 3) after the node, float64."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Curves:
    """A 1D LUT: a curve a channel, linear between its points and level past its ends."""

    table: Array  # (M, 3)
    low: Triple = (0.0, 0.0, 0.0)  # input of the first point
    high: Triple = (1.0, 1.0, 1.0)

    @property
    def label(self) -> str:
        return f"1D LUT {len(self.table)}"

    @property
    def alone(self) -> bool:
        return True

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        low, high = np.array(self.low), np.array(self.high)
        position = (np.where(np.isnan(values), low, values) - low) / (high - low) * (len(self.table) - 1)
        points = np.arange(len(self.table))
        return np.stack([np.interp(position[:, k], points, self.table[:, k]) for k in range(3)], -1)


@dataclass(frozen=True, kw_only=True, eq=False)
class HalfCurves:
    """A 1D LUT over all half floats (IEEE 754 binary16), in the order of their bits; linear between neighbours."""

    table: Array  # (65536, 3); those of infinities and NaN are not used: NaN is taken as 0

    @property
    def label(self) -> str:
        return "1D LUT over half floats"

    @property
    def alone(self) -> bool:
        return True

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        below = np.signbit(values)
        size = np.clip(np.abs(np.where(np.isnan(values), 0.0, values)), 0.0, HALF)
        points = np.arange(0x7C00, dtype=np.uint16).view(np.float16).astype(np.float64)
        found = np.empty(values.shape)
        for k in range(3):
            found[:, k] = np.interp(size[:, k], points, self.table[:0x7C00, k])
            some = below[:, k]
            found[some, k] = np.interp(size[some, k], points, self.table[0x8000:0xFC00, k])
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Lattice:
    """A 3D LUT."""

    lut: Lut

    @property
    def label(self) -> str:
        return f"3D LUT {self.lut.size}"

    @property
    def alone(self) -> bool:
        return False

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        return self.lut.apply(values, interpolation)


@dataclass(frozen=True, kw_only=True, eq=False)
class Matrix:
    """A 3x3 matrix, then an offset."""

    matrix: Array  # (3, 3)
    offset: Array  # (3,)

    @property
    def label(self) -> str:
        return "matrix"

    @property
    def alone(self) -> bool:
        return bool((self.matrix == np.diag(np.diag(self.matrix))).all())

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        result: Array = values @ self.matrix.T + self.offset
        return result


@dataclass(frozen=True, kw_only=True, eq=False)
class Range:
    """A factor and an offset, then a clamp; None: no clamp on that side."""

    scale: float
    offset: float
    low: float | None
    high: float | None

    @property
    def label(self) -> str:
        return "range"

    @property
    def alone(self) -> bool:
        return True

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        scaled = values * self.scale + self.offset
        if self.low is not None:
            scaled = np.maximum(np.where(np.isnan(scaled), self.low, scaled), self.low)
        return scaled if self.high is None else np.minimum(scaled, self.high)


@dataclass(frozen=True, kw_only=True, eq=False)
class Logarithm:
    """A logarithm with slopes and offsets on both sides, a channel each, and below `breaks` a straight line: light to
    signal, or the other way where `inverse`."""

    base: float
    log_slope: Triple
    log_offset: Triple
    lin_slope: Triple
    lin_offset: Triple
    breaks: Triple | None = None  # in light
    straight: Triple | None = None  # slope of the line; None: it goes on as the curve begins
    inverse: bool = False

    @property
    def label(self) -> str:
        return "antilogarithm" if self.inverse else "logarithm"

    @property
    def alone(self) -> bool:
        return True

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        log_slope, log_offset = np.array(self.log_slope), np.array(self.log_offset)
        lin_slope, lin_offset = np.array(self.lin_slope), np.array(self.lin_offset)
        scale = log_slope / np.log(self.base)

        def to_log(light: Array) -> Array:
            inside = lin_slope * light + lin_offset
            inside = np.maximum(np.where(np.isnan(inside), SMALLEST, inside), SMALLEST)
            return scale * np.log(inside) + log_offset

        def to_light(signal: Array) -> Array:
            with np.errstate(over="ignore"):
                return (np.exp((signal - log_offset) / scale) - lin_offset) / lin_slope

        curve = to_light if self.inverse else to_log
        if self.breaks is None:
            return curve(values)
        breaks = np.array(self.breaks)
        straight = (
            np.array(self.straight)
            if self.straight
            else scale * lin_slope / (lin_slope * breaks + lin_offset)
        )
        at_break = to_log(breaks)
        if self.inverse:
            return np.where(values > at_break, curve(values), (values - at_break) / straight + breaks)
        return np.where(values > breaks, curve(values), (values - breaks) * straight + at_break)


@dataclass(frozen=True, kw_only=True, eq=False)
class Exponent:
    """A power a channel. Negative values: 0, mirrored, or passed through as they are."""

    power: Triple
    negative: Literal["clamp", "mirror", "pass"] = "clamp"

    @property
    def label(self) -> str:
        return "exponent"

    @property
    def alone(self) -> bool:
        return True

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        with np.errstate(over="ignore"):
            raised = np.abs(values) ** np.array(self.power)
        if self.negative == "mirror":
            return np.copysign(raised, values)
        if self.negative == "pass":
            return np.where(values > 0, raised, values)
        return np.where(values > 0, raised, 0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class MonCurve:
    """A power with an offset and a straight line near black (moncurve). `mirror`: negative values as positive ones, else the
    line goes on."""

    power: Triple  # above 1
    offset: Triple  # above 0
    mirror: bool = False
    inverse: bool = False

    @property
    def label(self) -> str:
        return "exponent with a straight line"

    @property
    def alone(self) -> bool:
        return True

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        g, f = np.maximum(self.power, 1.000001), np.maximum(self.offset, 1e-6)
        x = np.abs(values) if self.mirror else values
        low = (f * g / ((g - 1) * (1 + f))) ** g  # the curve where the line ends
        slope = (g - 1) / f * low
        with np.errstate(over="ignore"):
            if self.inverse:
                curve = (1 + f) * np.maximum(x, low) ** (1 / g) - f
                result = np.where(x >= low, curve, x / slope)
            else:
                end = f / (g - 1)
                result = np.where(x >= end, ((np.maximum(x, end) + f) / (1 + f)) ** g, x * slope)
        return np.copysign(result, values) if self.mirror else result


@dataclass(frozen=True, kw_only=True, eq=False)
class Decision:
    """An ASC CDL."""

    cdl: CDL

    @property
    def label(self) -> str:
        return "ASC CDL"

    @property
    def alone(self) -> bool:
        return self.cdl.saturation == 1

    def apply(self, values: Array, interpolation: Interpolation) -> Array:
        return self.cdl.apply(values)


@dataclass(frozen=True, kw_only=True, eq=False)
class NodeLut:
    """A LUT of nodes in the order in which they act."""

    nodes: tuple[Node, ...]
    title: str = ""

    @property
    def size(self) -> int:
        """Points a side of its last 3D LUT; without one of its longest curve, else 0."""
        lattices = [node.lut.size for node in self.nodes if isinstance(node, Lattice)]
        curves = [len(node.table) for node in self.nodes if isinstance(node, Curves | HalfCurves)]
        return lattices[-1] if lattices else max(curves, default=0)

    @property
    def interpolation(self) -> Interpolation | None:
        """Interpolation that the file states for its 3D LUT, which holds whatever is asked for."""
        stated = [node.lut.interpolation for node in self.nodes if isinstance(node, Lattice)]
        return stated[-1] if stated else None

    def apply(self, rgb: ArrayLike, interpolation: Interpolation = "tetrahedral") -> Array:
        """Values of `rgb` (..., 3) through the LUT, float64; of any range, unclamped but where a node clamps."""
        values = np.asarray(rgb, np.float64)
        shape = values.shape
        values = values.reshape(-1, 3)
        with np.errstate(invalid="ignore"):
            for node in self.nodes:
                values = node.apply(values, interpolation)
        return values.reshape(shape)

    def labels(self) -> list[str]:
        """The nodes in words."""
        return [node.label for node in self.nodes]

    def digest(self) -> str:
        """`sha256:<hex>` over the nodes' numbers; the title is no part of it."""
        state = hashlib.sha256()
        for node in self.nodes:
            state.update(type(node).__name__.encode())
            for field in fields(node):  # type: ignore[arg-type]
                value = getattr(node, field.name)
                if isinstance(value, np.ndarray):
                    state.update(np.ascontiguousarray(value, "<f8").tobytes())
                elif isinstance(value, Lut):
                    state.update(value.digest().encode())
                elif isinstance(value, CDL):
                    numbers = (value.slope, value.offset, value.power, value.saturation, value.clamp)
                    state.update(json.dumps(numbers).encode())
                else:
                    state.update(f"{field.name}={json.dumps(value)};".encode())
        return f"sha256:{state.hexdigest()}"


AnyLut = Lut | NodeLut
