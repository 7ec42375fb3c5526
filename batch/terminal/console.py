"""Output to a terminal or a pipe: lines for people, in which nothing is hidden, and documents for scripts."""

from __future__ import annotations

import sys
import textwrap

from rushlight.batch.terminal.text_tables import page_width
from rushlight.pipelines.visible_text import json_text, visible

__all__ = ["say", "say_json", "say_wrapped"]


def say(text: str = "", *, error: bool = False) -> None:
    """A line (or several) on standard output, or on standard error."""
    print(visible(text, lines=True), file=sys.stderr if error else sys.stdout, flush=True)


def say_wrapped(text: str, *, indent: str = "  ") -> None:
    """A line wrapped as tables are, by `indent` from its second on; paths and names stay whole."""
    width = page_width()
    print(
        textwrap.fill(
            visible(text, lines=True),
            width,
            subsequent_indent=indent,
            break_long_words=False,
            break_on_hyphens=False,
        ),
        flush=True,
    )


def say_json(document: object, *, indent: int | None = 2) -> None:
    """One JSON document on standard output."""
    print(json_text(document, indent=indent), flush=True)
