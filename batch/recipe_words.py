"""What each key of a recipe is for, in the words of the installed reference page: for its JSON Schema."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files

__all__ = ["recipe_words"]

_SECTION = re.compile(r"^## (\w+)$", re.MULTILINE)
_ROW = re.compile(r"^\| `(\w+)` \|(?:[^|\\]|\\.)*\|(?:[^|\\]|\\.)*\| (.*) \|$", re.MULTILINE)


@cache
def recipe_words() -> dict[str, dict[str, str]]:
    """Words by table (`MovieOutput`) and key."""
    text = (files("rushlight") / "reference" / "recipes.md").read_text(encoding="utf-8")
    parts = _SECTION.split(text)
    return {
        table: {key: said.replace("\\|", "|") for key, said in _ROW.findall(part)}
        for table, part in zip(parts[1::2], parts[2::2], strict=True)
    }
