"""Tables as text: CSV and its relations -> a heading and numbered rows, in bounded memory.

Separated by comma, semicolon or tab; a byte order mark, quoted cells, empty lines and lines beginning with `#` are
taken. Columns are compared in lower case, with `_` for a space.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from rushlight.pipelines.errors import InputError

__all__ = ["Table", "read_table"]

MAX_CELL = 100_000  # characters
MAX_ROWS = 100_000
MAX_COLUMNS = 1000


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table's columns, the line they stand on, and its rows: the line each begins on, and its cells as typed."""

    columns: tuple[str, ...]
    line: int
    rows: tuple[tuple[int, list[str]], ...]

    def values(self) -> Iterator[tuple[int, dict[str, str]]]:
        """Each row's line, and its cells by column, stripped; empty ones left out."""
        for line, cells in self.rows:
            yield line, {c: v.strip() for c, v in zip(self.columns, cells, strict=False) if c and v.strip()}


def read_table(text: str, error: type[InputError], *, file: str = "") -> Table:
    """A table from text. `error` with file and line where it has no heading, is no CSV, repeats a column, holds a NUL
    byte, or is out of all proportion."""
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise error("holds a NUL byte, so it is not a text file", file=file, line=line)
    stream = io.StringIO(text.lstrip("\ufeff"), newline="")
    heading = next((x for x in stream if x.strip() and not x.lstrip().startswith("#")), "")
    if not heading:
        raise error("is empty; a table has a heading line", file=file)
    stream.seek(0)
    csv.field_size_limit(MAX_CELL)
    reader = csv.reader(stream, delimiter=max(",;\t", key=heading.count), skipinitialspace=True)
    columns: tuple[str, ...] | None = None
    rows: list[tuple[int, list[str]]] = []
    line = heading_line = 1
    try:
        for cells in reader:
            start, line = line, reader.line_num + 1
            if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
                continue
            if columns is None:
                if len(cells) > MAX_COLUMNS:
                    raise error(f"has {len(cells)} columns", file=file, line=start)
                columns, heading_line = tuple(c.strip().lower().replace(" ", "_") for c in cells), start
                twice = sorted({c for c in columns if c and columns.count(c) > 1})
                if twice:
                    raise error(f"has the column `{twice[0]}` twice", file=file, line=start, key=twice[0])
                continue
            if len(rows) == MAX_ROWS:
                raise error(f"has more than {MAX_ROWS} rows", file=file, line=start)
            rows.append((start, cells))
    except csv.Error as fault:
        raise error(f"is no CSV: {fault}", file=file, line=line) from None
    if not any(columns or ()):
        raise error("has no heading line", file=file)
    return Table(columns=columns or (), line=heading_line, rows=tuple(rows))
