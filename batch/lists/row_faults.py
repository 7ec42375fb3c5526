"""All faults of a row in one go: a cell that is wrong is noted, a harmless one stands in for it, and the row is looked at again.

So nobody mends `slope`, waits, and is told of `power`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Self

from rushlight.pipelines.errors import InputError, ListError, RushlightError

__all__ = ["NoOriginal", "RowFaults", "faults_of", "mended", "together"]

GRADE = {"slope": "1 1 1", "offset": "0 0 0", "power": "1 1 1", "saturation": "1", "cdl": ""}
# What stands in for a cell that is wrong, and for those that say nothing without it.
STAND_INS: Mapping[str, Mapping[str, str]] = {
    **{column: {column: text} for column, text in GRADE.items()},
    "encoding": {"encoding": "ACEScct", "exposure_index": ""},
    "lut": {"lut": "", "lut_input": "", "lut_output": "", "lut_contains_grade": ""},
    "timecode": {"timecode": "", "in": "", "out": ""},
    "rate": {"rate": "", "timecode": "", "in": "", "out": ""},
    "in": {"in": "", "out": ""},
    "out": {"in": "", "out": ""},
    "date": {"date": "", "day": ""},
}


class NoOriginal(ListError):
    """No original has the name that a row gives: its card may not have come yet."""


class RowFaults(ListError):
    """Several faults of one row as one sentence; `faults` has them one by one."""

    faults: tuple[RushlightError, ...] = ()

    def at(self, *, file: str | None = None, line: int | None = None, key: str | None = None) -> Self:
        new = super().at(file=file, line=line, key=key)
        new.faults = self.faults
        return new


def faults_of(error: RushlightError) -> tuple[RushlightError, ...]:
    """The faults that an error of a row stands for: itself, or those it was put together of."""
    return error.faults if isinstance(error, RowFaults) else (error,)


def together(faults: Sequence[RushlightError]) -> RushlightError:
    """The faults of one row as one error, each once; a single one as it is."""
    distinct: dict[tuple[str | None, str], RushlightError] = {}
    for fault in faults:
        distinct.setdefault((fault.key, fault.text), fault)
    found = tuple(distinct.values())
    if len(found) == 1:
        return found[0]
    first = found[0]
    places = ("" if fault.file in (None, first.file) else f"{fault.file}: " for fault in found)
    texts = [p + (f"{f.key}: {f.text}" if f.key else f.text) for p, f in zip(places, found, strict=True)]
    error = RowFaults("; ".join(texts), file=first.file, line=first.line)
    error.faults = found
    return error


def mended(cells: Mapping[str, str], fault: InputError) -> dict[str, str] | None:
    """The cells without what a fault is about; None where that changes nothing, so that there is no more to see."""
    column = fault.key or ""
    instead = STAND_INS.get(column, {column: ""} if cells.get(column) else {})
    new = {**cells, **instead}
    return new if {k: v for k, v in new.items() if v} != {k: v for k, v in cells.items() if v} else None
