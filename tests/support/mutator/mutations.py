"""How an input is made wrong: the operators of each form, and one to three of them by a number."""

from __future__ import annotations

from pathlib import Path
from random import Random

from mutator.rough import (
    BYTES,
    HEADERS,
    TEXT,
    Op,
    encoded_otherwise,
    header_flips,
    lines_changed,
    nested,
    words_replaced,
)
from mutator.structures import (
    cells_changed,
    elements_changed,
    json_changed,
    json_line_changed,
    prologue_changed,
    rows_changed,
    settings_changed,
)

__all__ = ["FORMS", "mutated"]

LONGEST = 4_000_000  # bytes of an input: what is wrong with a file is seldom its size alone
ROUGH: tuple[Op, ...] = (*BYTES, encoded_otherwise, nested)
FORMS: dict[str, tuple[Op, ...]] = {  # what leaves an input of its form, which is four of five
    "text": TEXT,
    "table": (*(cells_changed,) * 6, *TEXT),
    "json": (*(json_changed,) * 9, words_replaced),
    "json lines": (*(json_line_changed,) * 9, words_replaced, lines_changed),
    "xml": (*(elements_changed,) * 3, *TEXT, prologue_changed),
    "toml": (*(settings_changed,) * 5, *TEXT),
    "binary": HEADERS,
    "sqlite": (*(rows_changed,) * 8, header_flips),
}


def mutated(data: bytes, form: str, rng: Random, outside: Path) -> bytes:
    """One to three faults put into `data`, which is of that form. `outside` is a folder that nobody should touch."""
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        operators = ROUGH if rng.random() < 0.2 else FORMS[form]
        data = rng.choice(operators)(data, rng, outside)[:LONGEST]
    return data
