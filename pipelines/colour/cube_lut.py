"""3D LUTs: .cube text, and the plain evaluation by tetrahedra or trilinearly.

Source: Cube LUT Specification 1.0 (red varies fastest; domain defaults to 0..1). A file may hold a 1D part
and a 3D part, the 1D one first, as common readers take it (common practice, no source).
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.errors import LutError
from rushlight.pipelines.visible_text import visible

__all__ = ["Interpolation", "Lut", "format_cube", "identity_lut", "lut_side", "parse_cube"]

Interpolation = Literal["tetrahedral", "trilinear"]
Triple = tuple[float, float, float]
_LARGEST = {"LUT_1D_SIZE": 65536, "LUT_3D_SIZE": 256}


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
        pick = tetrahedral if interpolation == "tetrahedral" else trilinear
        return pick(self.table, position).reshape(shape)

    def digest(self) -> str:
        """`sha256:<hex>` over the numbers; the title is no part of it."""
        state = hashlib.sha256()
        for part in (self.table, self.domain_min, self.domain_max):
            state.update(np.ascontiguousarray(part, "<f8").tobytes())
        if self.shaper is not None:
            for part in (self.shaper, self.shaper_min, self.shaper_max):
                state.update(np.ascontiguousarray(part, "<f8").tobytes())
        return f"sha256:{state.hexdigest()}"


def _unit(values: NDArray[np.float64], low: Triple, high: Triple) -> NDArray[np.float64]:
    scaled = (values - np.array(low)) / (np.array(high) - np.array(low))
    return np.clip(np.where(np.isnan(scaled), 0.0, scaled), 0.0, 1.0)


def _cell(
    table: NDArray[np.float64], position: NDArray[np.float64]
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    base = np.minimum(position.astype(np.intp), np.array(table.shape[:3]) - 2)
    return base, position - base


def tetrahedral(table: NDArray[np.float64], position: NDArray[np.float64]) -> NDArray[np.float64]:
    """`table` (N, N, N, C) at `position` (n, 3) in lattice steps, by the tetrahedron the point lies in.

    The walk goes from the cell's lower corner along the axes in order of falling fraction.
    """
    base, fraction = _cell(table, position)
    order = np.argsort(-fraction, axis=1, kind="stable")
    sorted_fraction = np.take_along_axis(fraction, order, 1)
    corner = base.copy()
    result = table[tuple(corner.T)] * (1 - sorted_fraction[:, :1])
    rows = np.arange(len(base))
    for k in range(3):
        corner[rows, order[:, k]] += 1
        following = sorted_fraction[:, k + 1 : k + 2] if k < 2 else 0.0
        result += table[tuple(corner.T)] * (sorted_fraction[:, k : k + 1] - following)
    return result


def trilinear(table: NDArray[np.float64], position: NDArray[np.float64]) -> NDArray[np.float64]:
    """`table` (N, N, N, C) at `position` (n, 3) in lattice steps, linear along each axis."""
    base, fraction = _cell(table, position)
    result = np.zeros((len(base), table.shape[3]))
    for corner in np.ndindex(2, 2, 2):
        weight = np.prod(np.where(corner, fraction, 1 - fraction), axis=1)
        result += weight[:, None] * table[tuple((base + corner).T)]
    return result


def lut_side(text: str) -> tuple[str, Literal["narrow", "full"]]:
    """Input or output of a LUT, as stated: a space, `narrow` or `full`, or both (`P3-D65 narrow`), in any
    case.

    Gives the space as written, empty where none is stated, and the levels, full where none are.
    """
    words = text.split()
    last = words[-1].lower() if words else ""
    if last == "narrow" or last == "full":
        return " ".join(words[:-1]), "narrow" if last == "narrow" else "full"
    return " ".join(words), "full"


def identity_lut(size: int) -> Lut:
    """The LUT that changes nothing, `size` points a side."""
    axis = np.linspace(0, 1, size)
    return Lut(table=np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1), title="identity")


def parse_cube(text: str, *, file: str = "") -> Lut:
    """A LUT from .cube text. LutError naming the line for anything that is not one.

    Taken: CRLF, byte order mark, comments and blank lines anywhere, commas between values, exponents,
    `LUT_3D_INPUT_RANGE`/`LUT_1D_INPUT_RANGE`, a 1D part ahead of the 3D one. Refused: no 3D part, a table that
    is short or long, a size under 2, values that are not finite, an empty or reversed domain.
    """
    state = _Reader(file)
    for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1):
        content = (
            line.split("#", 1)[0].strip() if not line.lstrip().upper().startswith("TITLE") else line.strip()
        )
        if content:
            state.line(number, content)
    return state.lut()


class _Reader:
    def __init__(self, file: str) -> None:
        self.file = file
        self.title = ""
        self.sizes: dict[str, int] = {}
        self.domain: dict[str, Triple] = {}
        self.ranges: dict[str, tuple[float, float]] = {}
        self.rows: list[tuple[float, ...]] = []

    def line(self, number: int, content: str) -> None:
        word, _, rest = content.replace("\t", " ").partition(" ")
        word = word.upper()
        if not word[0].isalpha() or word in ("NAN", "INF", "INFINITY"):
            self.rows.append(self.floats(number, content, 3, ""))
            wanted = sum(n if k == "LUT_1D_SIZE" else n**3 for k, n in self.sizes.items())
            if len(self.rows) > wanted:
                raise LutError(
                    f"has more rows than its size says ({wanted})"
                    if wanted
                    else "has a table ahead of its size",
                    file=self.file,
                    line=number,
                )
        elif word == "TITLE":
            self.title = rest.strip().strip('"')
        elif word in _LARGEST:
            parts = rest.split()
            size = int(parts[0]) if len(parts) == 1 and re.fullmatch("[0-9]{1,5}", parts[0]) else 0
            if not 2 <= size <= _LARGEST[word] or self.rows or word in self.sizes:
                raise LutError(
                    f"takes one size from 2 to {_LARGEST[word]}, once, ahead of the table; found {rest.strip()!r}",
                    file=self.file,
                    line=number,
                    key=word,
                )
            self.sizes[word] = size
        elif word in ("DOMAIN_MIN", "DOMAIN_MAX"):
            if self.rows:
                raise LutError(
                    "stands after the table; it belongs ahead of it", file=self.file, line=number, key=word
                )
            self.domain[word] = self.floats(number, rest, 3, word)  # type: ignore[assignment]
        elif word in ("LUT_1D_INPUT_RANGE", "LUT_3D_INPUT_RANGE"):
            self.ranges[word] = self.floats(number, rest, 2, word)  # type: ignore[assignment]
        # Other keywords are other programs' notes and change nothing.

    def floats(self, number: int, text: str, count: int, key: str) -> tuple[float, ...]:
        parts = text.replace(",", " ").split()
        try:
            values = tuple(float(p) for p in parts)
        except ValueError:
            values = ()
        if len(values) != count or len(parts) != count or not all(map(math.isfinite, values)):
            raise LutError(
                f"takes {count} finite numbers, found {text.strip()[:60]!r}",
                file=self.file,
                line=number,
                key=key or None,
            )
        return values

    def lut(self) -> Lut:
        size, length = self.sizes.get("LUT_3D_SIZE", 0), self.sizes.get("LUT_1D_SIZE", 0)
        if not size:
            found = "only a 1D table" if length else "no LUT_3D_SIZE"
            raise LutError(f"is not a 3D LUT: it has {found}", file=self.file)
        if len(self.rows) != length + size**3:
            raise LutError(
                f"has {len(self.rows)} rows; {size} points a side take {length + size**3}", file=self.file
            )
        values = np.array(self.rows, np.float64)
        low, high = self.interval("LUT_3D_INPUT_RANGE")
        shaper_low, shaper_high = self.interval("LUT_1D_INPUT_RANGE")
        table = values[length:].reshape(size, size, size, 3).transpose(2, 1, 0, 3)
        return Lut(
            table=np.ascontiguousarray(table),
            title=self.title,
            domain_min=(0.0, 0.0, 0.0) if length and "LUT_3D_INPUT_RANGE" not in self.ranges else low,
            domain_max=(1.0, 1.0, 1.0) if length and "LUT_3D_INPUT_RANGE" not in self.ranges else high,
            shaper=values[:length] if length else None,
            shaper_min=shaper_low,
            shaper_max=shaper_high,
        )

    def interval(self, keyword: str) -> tuple[Triple, Triple]:
        low: Triple = self.domain.get("DOMAIN_MIN", (0.0, 0.0, 0.0))
        high: Triple = self.domain.get("DOMAIN_MAX", (1.0, 1.0, 1.0))
        if keyword in self.ranges:
            first, last = self.ranges[keyword]
            low, high = (first,) * 3, (last,) * 3
        if any(a >= b for a, b in zip(low, high, strict=True)):
            raise LutError(f"has an empty domain: {low} to {high}", file=self.file)
        return low, high


def format_cube(lut: Lut, comments: Iterable[str] = ()) -> str:
    """A plain 3D .cube text of 10 digits. LutError if the LUT has a 1D part: only plain ones are written."""
    if lut.shaper is not None:
        raise LutError("a LUT with a 1D part is not written as .cube; bake it into a plain one first")
    title = "".join(c for c in lut.title if c.isprintable() and c != '"')[:200]
    lines = [f"# {visible(' '.join(c.split()))[:240]}" for c in comments]
    lines += [f'TITLE "{title}"', f"LUT_3D_SIZE {lut.size}"]
    lines += [f"DOMAIN_MIN {_plain(lut.domain_min)}", f"DOMAIN_MAX {_plain(lut.domain_max)}"]
    lines += [_plain(row) for row in lut.table.transpose(2, 1, 0, 3).reshape(-1, 3)]
    return "\n".join(lines) + "\n"


def _plain(values: Iterable[float]) -> str:
    return " ".join(f"{v:.10g}" for v in values)
