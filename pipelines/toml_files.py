"""TOML of ours: recipes and defaults. What a parser would take minutes or too deep a stack for is refused before it starts."""

from __future__ import annotations

import json
import re
import tomllib

from rushlight.pipelines.errors import InputError

__all__ = ["read_toml", "toml_text"]

MOST = 2_000_000  # characters: defaults of 20,000 files take half of it
PARTS = 16  # of a dotted key
DEPTH = 32  # of arrays and inline tables inside each other
LONGEST = 300  # characters of what the parser says

# TOML 1.0: strings of four kinds, comments, blanks, names and numbers, and every other character by itself.
_STRING = re.compile(r'"""[\s\S]*?"""|\'\'\'[\s\S]*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'')
_OTHER = re.compile(r"#[^\n]*|[ \t]+|[A-Za-z0-9_+-]+|.", re.DOTALL)


def read_toml(text: str, *, file: str, error: type[InputError]) -> dict[str, object]:
    """Content of a TOML document. `error` naming the file, and the line where that is known, for what is no
    TOML or beyond the limits."""
    if len(text) > MOST:
        raise error(f"is longer than {MOST // 1_000_000} MB, the most that is read of a TOML file", file=file)
    fault, place = _beyond(text)
    if fault:
        raise error(fault, file=file, line=text.count("\n", 0, place) + 1)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as wrong:
        raise error(f"is not TOML: {str(wrong)[:LONGEST]}", file=file) from None


def toml_text(text: str) -> str:
    """A text as a basic string of TOML 1.0: what JSON writes, but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _beyond(text: str) -> tuple[str, int]:
    """The limit that a text goes beyond, and where; empty where all is within, or where a string has no end."""
    place = parts = depth = 0
    while place < len(text):
        found = (_STRING if text[place] in "\"'" else _OTHER).match(text, place)
        if found is None:
            break  # the parser says it
        token = found[0]
        if token == ".":
            parts += 1
        elif not (token[0] in " \t\"'" or token[0].isalnum() or token[0] in "_+-"):
            parts = 0
            depth += (token in "[{") - (token in "]}")
        if parts >= PARTS:
            return f"has a key of more than {PARTS} parts", place
        if depth > DEPTH:
            return f"has more than {DEPTH} arrays or tables inside each other", place
        place = found.end()
    return "", 0
