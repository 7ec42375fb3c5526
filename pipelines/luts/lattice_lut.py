"""A 3D LUT, maybe with curves ahead of it, and its plain evaluation."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.colour.interpolation import Interpolation, tetrahedral, trilinear

__all__ = ["Lut", "identity_lut", "table_lines"]

Triple = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class Lut:
    """A 3D LUT. Input outside the domain is clamped to it."""

    table: NDArray[np.float64]  # (N, N, N, 3), indexed [r, g, b]
    title: str = ""
    domain_min: Triple = (0.0, 0.0, 0.0)
    domain_max: Triple = (1.0, 1.0, 1.0)
    shaper: NDArray[np.float64] | None = None  # (M, 3): the 1D part, ahead of the 3D one
    shaper_min: Triple = (0.0, 0.0, 0.0)
    shaper_max: Triple = (1.0, 1.0, 1.0)
    interpolation: Interpolation | None = None  # that the file states, which holds whatever is asked for

    @property
    def size(self) -> int:
        return int(self.table.shape[0])

    def apply(self, rgb: ArrayLike, interpolation: Interpolation = "tetrahedral") -> NDArray[np.float64]:
        """Values of `rgb` (..., 3) through the LUT, float64. NaN is taken as the domain's lower end."""
        values = np.asarray(rgb, np.float64)
        shape = values.shape
        values = values.reshape(-1, 3)
        if self.shaper is not None:
            position = _unit(values, self.shaper_min, self.shaper_max) * (len(self.shaper) - 1)
            points = np.arange(len(self.shaper))
            values = np.stack([np.interp(position[:, k], points, self.shaper[:, k]) for k in range(3)], -1)
        position = _unit(values, self.domain_min, self.domain_max) * (self.size - 1)
        pick = trilinear if (self.interpolation or interpolation) == "trilinear" else tetrahedral
        return pick(self.table, position).reshape(shape)

    def labels(self) -> list[str]:
        """Nothing: a lattice alone, with or without curves ahead of it, is known by its size."""
        return []

    def digest(self) -> str:
        """`sha256:<hex>` over the numbers; the title is no part of it."""
        state = hashlib.sha256()
        for part in (self.table, self.domain_min, self.domain_max):
            state.update(np.ascontiguousarray(part, "<f8").tobytes())
        if self.shaper is not None:
            for part in (self.shaper, self.shaper_min, self.shaper_max):
                state.update(np.ascontiguousarray(part, "<f8").tobytes())
        state.update((self.interpolation or "").encode())
        return f"sha256:{state.hexdigest()}"


def _unit(values: NDArray[np.float64], low: Triple, high: Triple) -> NDArray[np.float64]:
    scaled = (values - np.array(low)) / (np.array(high) - np.array(low))
    return np.clip(np.where(np.isnan(scaled), 0.0, scaled), 0.0, 1.0)


def identity_lut(size: int) -> Lut:
    """The LUT that changes nothing, `size` points a side."""
    axis = np.linspace(0, 1, size)
    return Lut(table=np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1), title="identity")


def table_lines(table: NDArray[np.float64]) -> str:
    """Numbers (..., 3) as the lines of a LUT file, three of 10 digits each, the last axis but one varying fastest."""
    values = table.ravel().tolist()
    return "\n".join(["%.10g %.10g %.10g"] * (len(values) // 3)) % tuple(values)
