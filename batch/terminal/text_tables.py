"""Tables for people: long cells wrap between words, and no word is ever broken; the same plain lines when piped.

Where the words of a row do not fit beside one another, rows stand one below the other: what it is about, then a line a cell.
"""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Sequence

from rushlight.pipelines.visible_text import visible

__all__ = ["page_width", "print_table", "table_lines"]

PAGE, WIDEST = 100, 200  # characters of prose, and of a table where the terminal has them
GAP = 2


def table_lines(heading: Sequence[str], rows: Sequence[Sequence[str]], width: int = PAGE) -> list[str]:
    """Lines of at most `width` characters, but where a single word is longer; the widest columns give way and wrap."""
    cells = [[visible(str(c), lines=True) for c in row] for row in (heading, *rows)]
    every = range(len(heading))
    widths = [max(1, *(len(row[k]) for row in cells)) for k in every]
    least = [max(1, *(len(w) for row in cells for w in [*row[k].split(), ""])) for k in every]
    room = width - GAP * (len(widths) - 1)
    if sum(least) > room:
        return _stacked(cells, width)
    while sum(widths) > room:
        free = [k for k in every if widths[k] > least[k]]
        widths[max(free, key=lambda k: widths[k])] -= 1
    lines = []
    for number, row in enumerate(cells):
        wrapped = [_wrapped(c, w) for c, w in zip(row, widths, strict=True)]
        for k in range(max(map(len, wrapped))):
            line = (" " * GAP).join(
                (part[k] if k < len(part) else "").ljust(w) for part, w in zip(wrapped, widths, strict=True)
            )
            lines.append(line.rstrip())
        if number == 0:
            lines.append((" " * GAP).join("-" * w for w in widths))
    return lines


def _stacked(cells: Sequence[Sequence[str]], width: int) -> list[str]:
    """Rows one below the other; cells that are empty are left out."""
    heading, *rows = cells
    lines = []
    for first, *rest in rows:
        lines += _filled(first or "-", "", width)
        for name, cell in zip(heading[1:], rest, strict=True):
            if cell.strip():
                lines += _filled(f"{name}: {cell}", "  ", width)
    return lines


def _filled(text: str, indent: str, width: int) -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _wrapped(cell: str, width: int) -> list[str]:
    if (
        len(cell) <= width and cell.isprintable() and cell == cell.strip()
    ):  # most cells: textwrap takes its time
        return [cell]
    words = cell.split(" ")
    if "" in words or not cell.isprintable():
        return textwrap.wrap(cell, width, break_on_hyphens=False, break_long_words=False) or [""]
    lines = [words[0]]
    for word in words[1:]:
        if len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def page_width(widest: int = PAGE) -> int:
    """As wide as the terminal, 60 to `widest` characters; 100 where there is none."""
    return max(60, min(widest, shutil.get_terminal_size((PAGE, 24)).columns))


def print_table(heading: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table as wide as the terminal, 200 characters at most; in a pipe 100."""
    sys.stdout.write("\n".join(table_lines(heading, rows, page_width(WIDEST))) + "\n")
