"""Clip lists as text: CSV and its relations -> rows. Every wrong cell is reported, and its row kept by name.

Columns in any order and case, separated by comma, semicolon or tab; a byte order mark, quoted cells and lines
beginning with `#` are taken. Columns that are not known pass through to burn-in and report.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from rushlight.batch.lists.camera_columns import camera_of
from rushlight.batch.lists.list_columns import CHOICES, COLUMNS, GRADE_COLUMNS
from rushlight.batch.lists.row_faults import mended, together
from rushlight.batch.lists.table_file import read_table
from rushlight.pipelines.colour.cdl import CDL, Triple, stated_cdl
from rushlight.pipelines.errors import GradeError, InputError, ListError, RushlightError, TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.heartbeat import beating

__all__ = ["ClipList", "Row", "read_csv", "sound_names", "write_csv"]

LONGEST_NAME = 1000  # characters of a clip with its path
YES = {"yes", "y", "true", "1", "x", "circled", "*"}


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row: every cell as typed (`cells`, by lower-case column), and what of it was parsed."""

    file: str
    line: int
    clip: str
    cells: Mapping[str, str] = field(default_factory=dict)
    grade: CDL | None = None  # from the row's own numbers
    rate: FrameRate | None = None
    problem: RushlightError | None = None  # why this row is set aside
    filled: Mapping[str, str] = field(default_factory=dict)  # of cells that the list does not state: who does
    whole: bool = True  # False where its cells do not stand under their columns

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")

    @property
    def place(self) -> str:
        return f"{self.file}:{self.line}"


@dataclass(frozen=True, kw_only=True)
class ClipList:
    """A list: rows in order, the columns it has, and every problem found."""

    file: str
    rows: tuple[Row, ...]
    columns: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def problems(self) -> tuple[RushlightError, ...]:
        return tuple(row.problem for row in self.rows if row.problem)


def read_csv(text: str, *, file: str = "") -> ClipList:
    """A list from CSV text. ListError where it is unreadable as a whole: no `clip` column, a NUL byte, no rows."""
    table = read_table(text, ListError, file=file)
    if "clip" not in table.columns:
        found = ", ".join(c for c in table.columns if c)[:200]
        raise ListError(f"has no column `clip`; found {found}", file=file, line=table.line)
    if not table.rows:
        raise ListError("has a heading and no rows", file=file)
    rows = tuple(_row(table.columns, cells, file, line) for line, cells in beating(table.rows))
    warnings = tuple(_near(table.columns, file, table.line))
    return ClipList(file=file, rows=rows, columns=table.columns, warnings=warnings)


def _near(columns: Sequence[str], file: str, line: int) -> list[str]:
    """Warnings for columns that are one slip away from a known one: they would pass through unnoticed."""
    found = []
    for column in columns:
        if column and column not in COLUMNS:
            near = difflib.get_close_matches(column, COLUMNS, 1, 0.84)
            if near and near[0] not in columns:
                found.append(f"{file}:{line}: column `{column}` passes through; was `{near[0]}` meant?")
    return found


def _row(columns: Sequence[str], cells: Sequence[str], file: str, line: int) -> Row:
    values = {c: v.strip() for c, v in zip(columns, cells, strict=False) if c and v.strip()}
    clip = values.get("clip", "")
    faults: list[InputError] = []
    whole = not (len(cells) > len(columns) and any(c.strip() for c in cells[len(columns) :]))
    if not whole:
        faults.append(ListError(f"has {len(cells)} cells; the heading has {len(columns)} columns"))
    elif not clip:
        faults.append(ListError("names no clip", key="clip"))
    elif len(clip) > LONGEST_NAME:
        faults.append(ListError(f"is {len(clip)} characters long; no clip has such a name", key="clip"))
        clip = f"{clip[:40]}…"
    grade: CDL | None = None
    rate: FrameRate | None = None
    look: Mapping[str, str] | None = values if whole else None  # cells beside their columns say nothing
    while look is not None:
        try:
            grade, rate = _read(look)
            break
        except InputError as error:
            faults.append(_as_list_error(error))
            look = mended(look, error)
    return Row(
        file=file,
        line=line,
        clip=clip or f"(row {line})",
        cells=values,
        grade=grade,
        rate=rate,
        problem=together([fault.at(file=file, line=line) for fault in faults]) if faults else None,
        whole=whole,
    )


def _read(cells: Mapping[str, str]) -> tuple[CDL | None, FrameRate | None]:
    """The grade and the rate of a row's cells. InputError naming the column for the first cell that is wrong."""
    grade = row_grade(cells)
    rate = _parsed(cells, "rate", FrameRate.parse)
    _parsed(cells, "capture_rate", FrameRate.parse)
    check_choices(cells)
    camera_of(cells, {})
    return grade, rate


def _as_list_error(error: InputError) -> ListError | GradeError:
    if isinstance(error, ListError | GradeError):
        return error
    return ListError(error.text, key=error.key)


Parsed = TypeVar("Parsed")


def _parsed(values: Mapping[str, str], column: str, parse: Callable[[str], Parsed]) -> Parsed | None:
    if not values.get(column):
        return None
    try:
        return parse(values[column])
    except TimecodeError as error:
        raise error.at(key=column) from None


SOUND_WORDS = ("copy", "mix", "silent", "none", "camera")


def check_choices(values: Mapping[str, str]) -> None:
    """ListError for a cell whose column takes one of a few words."""
    for column, choices in CHOICES.items():
        if values.get(column) and values[column].lower() not in choices:
            raise ListError(f"{values[column]!r} will not do; takes {' or '.join(choices)}", key=column)
    cell = values.get("sound", "")
    if cell and cell.lower() not in SOUND_WORDS and not all("." in name for name in sound_names(cell)):
        words = f"{', '.join(SOUND_WORDS[:-1])} or {SOUND_WORDS[-1]}"
        raise ListError(
            f"{cell[:60]!r} will not do; takes {words}, or sound files such as T12.wav", key="sound"
        )


def sound_names(cell: str) -> tuple[str, ...]:
    """The files that a cell `sound` names, between `;` or commas."""
    return tuple(name.strip() for name in re.split(r"[;,]", cell) if name.strip())


def row_grade(values: Mapping[str, str]) -> CDL | None:
    """A CDL from the columns slope, offset, power and saturation; None where all are empty. GradeError names the column."""
    if not any(values.get(c) for c in GRADE_COLUMNS):
        return None
    triples: dict[str, Triple] = {}
    saturation: float | None = None
    for column in GRADE_COLUMNS:
        text = values.get(column, "")
        if not text:
            continue
        wanted = 1 if column == "saturation" else 3
        parts = text.replace(",", " ").replace(";", " ").replace("/", " ").split()
        try:
            found = tuple(float(p) for p in parts)
        except ValueError:
            found = ()
        if len(parts) != wanted or len(found) != wanted:
            what = "one number" if wanted == 1 else "three numbers, such as 1.1 1 0.95"
            raise GradeError(f"takes {what}; found {text[:60]!r}", key=column)
        if len(found) == 3:
            triples[column] = found
        else:
            saturation = found[0]
    return stated_cdl(triples, saturation)


def is_yes(text: str) -> bool:
    """True if a cell such as `circled` says yes."""
    return text.strip().lower() in YES


def cell_is(cell: str, value: str) -> bool:
    """True if a cell says what is asked for: the same words in any case, or both a yes."""
    return cell.strip().lower() == value.strip().lower() or (is_yes(value) and is_yes(cell))


def write_csv(columns: tuple[str, ...], rows: list[Mapping[str, str]]) -> str:
    """CSV text of rows by column, that `read_csv` takes back."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({c: row.get(c, "") for c in columns})
    return out.getvalue()
