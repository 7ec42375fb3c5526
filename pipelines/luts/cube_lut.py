""".cube text: 3D LUTs, 1D ones, and both in one file; and LUTs written as .cube.

Source: Cube LUT Specification 1.0 (red varies fastest; domain defaults to 0..1). A file may hold a 1D part
and a 3D part, the 1D one first, as common readers take it (common practice, no source).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Literal

import numpy as np

from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.lattice_lut import Lut, table_lines
from rushlight.pipelines.luts.lut_nodes import AnyLut, Curves, NodeLut
from rushlight.pipelines.visible_text import visible

__all__ = ["format_cube", "lut_side", "parse_cube"]

Triple = tuple[float, float, float]
_LARGEST = {"LUT_1D_SIZE": 65536, "LUT_3D_SIZE": 256}


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


def parse_cube(text: str, *, file: str = "") -> AnyLut:
    """A LUT from .cube text. LutError naming the line for anything that is not one.

    Taken: CRLF, byte order mark, comments and blank lines anywhere, commas between values, exponents,
    `LUT_3D_INPUT_RANGE`/`LUT_1D_INPUT_RANGE`, a 1D part ahead of the 3D one or alone. Refused: no table, one that
    is short or long, a size under 2, values that are not finite, an empty or reversed domain.
    """
    state = _Reader(file)
    lines = text.lstrip("\ufeff").splitlines()
    for number, line in enumerate(lines, 1):
        content = (
            line.split("#", 1)[0].strip() if not line.lstrip().upper().startswith("TITLE") else line.strip()
        )
        if content:
            if not state.rows and state.table(lines[number - 1 :]):
                break
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

    def table(self, lines: list[str]) -> bool:
        """Take lines that are nothing but rows of the table, ten times as fast as `line`; False, and nothing is taken, where
        one is anything else or wrong: `line` says what."""
        rows: list[tuple[float, ...]] = []
        try:
            for line in lines:
                if parts := line.split():
                    red, green, blue = parts
                    rows.append((float(red), float(green), float(blue)))
        except ValueError:
            return False
        if len(rows) > self.wanted or not np.isfinite(rows).all():
            return False
        self.rows = rows
        return True

    @property
    def wanted(self) -> int:
        """Rows of the table, by the sizes stated so far."""
        return sum(n if k == "LUT_1D_SIZE" else n**3 for k, n in self.sizes.items())

    def line(self, number: int, content: str) -> None:
        word, _, rest = content.replace("\t", " ").partition(" ")
        word = word.upper()
        if not word[0].isalpha() or word in ("NAN", "INF", "INFINITY"):
            self.rows.append(self.floats(number, content, 3, ""))
            if len(self.rows) > self.wanted:
                raise LutError(
                    f"has more rows than its size says ({self.wanted})"
                    if self.wanted
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
            comma = "; numbers have a decimal point" if len(parts) == 2 * count else ""
            raise LutError(
                f"takes {count} finite numbers, found {text.strip()[:60]!r}{comma}",
                file=self.file,
                line=number,
                key=key or None,
            )
        return values

    def lut(self) -> AnyLut:
        size, length = self.sizes.get("LUT_3D_SIZE", 0), self.sizes.get("LUT_1D_SIZE", 0)
        if not size and not length:
            raise LutError("is not a LUT: it has no LUT_3D_SIZE and no LUT_1D_SIZE", file=self.file)
        wanted = length + size**3
        if len(self.rows) != wanted:
            words = f"{size} points a side take" if size else "its size says"
            raise LutError(f"has {len(self.rows)} rows; {words} {wanted}", file=self.file)
        values = np.array(self.rows, np.float64)
        low, high = self.interval("LUT_3D_INPUT_RANGE")
        shaper_low, shaper_high = self.interval("LUT_1D_INPUT_RANGE")
        if not size:
            return NodeLut(nodes=(Curves(table=values, low=shaper_low, high=shaper_high),), title=self.title)
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
    lines += [
        f"DOMAIN_MIN {table_lines(np.array(lut.domain_min))}",
        f"DOMAIN_MAX {table_lines(np.array(lut.domain_max))}",
    ]
    lines.append(table_lines(lut.table.transpose(2, 1, 0, 3)))
    return "\n".join(lines) + "\n"
