"""Tables for people: columns that fit 100 characters, long cells wrapped; the same plain lines when piped."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Sequence

from rushlight.pipelines.visible_text import visible

__all__ = ["page_width", "print_table", "table_lines"]


LONGEST_WORD = 16


def table_lines(heading: Sequence[str], rows: Sequence[Sequence[str]], width: int = 100) -> list[str]:
    """Lines of at most `width` characters: the widest columns give way and wrap."""
    cells = [[visible(str(c), lines=True) for c in row] for row in (heading, *rows)]
    widths = [max(1, *(len(row[k]) for row in cells)) for k in range(len(heading))]
    room = width - 2 * (len(widths) - 1)
    words = [max((len(w) for row in cells for w in row[k].split()), default=0) for k in range(len(widths))]
    least = [min(w, LONGEST_WORD) for w in words]  # names and timecodes stay whole where there is room
    every = range(len(widths))
    while sum(widths) > room:
        free = (
            [k for k in every if widths[k] > least[k]]
            or [k for k in every[1:] if widths[k] > 6]  # what the row is about gives way last
            or every
        )
        widths[max(free, key=lambda k: widths[k])] -= 1
    lines = []
    for number, row in enumerate(cells):
        wrapped = [_wrapped(c, w) for c, w in zip(row, widths, strict=True)]
        for k in range(max(map(len, wrapped))):
            line = "  ".join(
                (part[k] if k < len(part) else "").ljust(w) for part, w in zip(wrapped, widths, strict=True)
            )
            lines.append(line.rstrip())
        if number == 0:
            lines.append("  ".join("-" * w for w in widths))
    return lines


def _wrapped(cell: str, width: int) -> list[str]:
    if (
        len(cell) <= width and cell.isprintable() and cell == cell.strip()
    ):  # most cells: textwrap takes its time
        return [cell]
    words = cell.split(" ")
    if "" in words or not cell.isprintable() or max(map(len, words)) > width:
        return textwrap.wrap(cell, width, break_on_hyphens=False) or [""]
    lines = [words[0]]
    for word in words[1:]:
        if len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def page_width() -> int:
    """As wide as the terminal, 60 to 100 characters; 100 where there is none."""
    return max(60, min(100, shutil.get_terminal_size((100, 24)).columns))


def print_table(heading: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table as wide as the terminal, 100 characters at most."""
    sys.stdout.write("\n".join(table_lines(heading, rows, page_width())) + "\n")
