"""Completion of what is typed: recipes, encodings, columns and clips, beside click's own of commands and options.

The shell asks on every press of a key, so that nothing here opens a picture; where a list cannot be read, nothing is offered.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

import click
from click.parser import split_arg_string
from click.shell_completion import BashComplete, CompletionItem, add_completion_class, get_completion_class

from rushlight.pipelines.errors import OptionError, RushlightError

__all__ = ["clips", "columns", "encoding_names", "recipe_names", "script", "topic_names"]

SHELLS = ("bash", "fish", "zsh")
_SPECIAL = re.compile(r"([^A-Za-z0-9_@%+=:,./~-])")
_TWICE = r"\\\\\1"  # the script of click reads a line once before the shell does
SUFFIXES = (".csv", ".tsv", ".txt")
LARGEST = 8_000_000  # bytes of a list that is read while somebody types


class _Bash(BashComplete):
    """click's own, but for `=`, at which bash parts words, and for what a shell would take apart in a value."""

    def get_completion_args(self) -> tuple[list[str], str]:
        words = split_arg_string(os.environ["COMP_WORDS"])[: int(os.environ["COMP_CWORD"]) + 1]
        begun = len(words) > int(os.environ["COMP_CWORD"])  # else the word is empty still
        joined: list[str] = []
        for k, word in enumerate(words):
            if joined and (word.startswith("=") or words[k - 1] == "="):
                joined[-1] += word
            else:
                joined.append(word)
        open_word = begun or joined[-1].endswith("=")
        self.typed = joined[-1] if open_word else ""
        return joined[1:-1] if open_word else joined[1:], self.typed

    def format_completion(self, item: CompletionItem) -> str:
        _, _, value = item.value.rpartition("=") if "=" in self.typed else ("", "", item.value)
        return f"{item.type},{_SPECIAL.sub(_TWICE, value)}"


add_completion_class(_Bash)


def script(shell: str) -> str:
    """The text that a shell evaluates to complete `rushlight`. OptionError for a shell that there is none for."""
    kind = get_completion_class(shell)
    if shell not in SHELLS or kind is None:
        raise OptionError(f"no completion for {shell!r}; there is one for {', '.join(SHELLS)}")
    text = kind(click.Command("rushlight"), {}, "rushlight", "_RUSHLIGHT_COMPLETE")
    variables = text.source_vars()
    return text.source_template % variables


def recipe_names(ctx: click.Context, parameter: click.Parameter, typed: str) -> list[CompletionItem]:
    """Recipes that ship, and files."""
    from rushlight.pipelines.recipe.read_recipe import shipped_recipes

    found = [CompletionItem(name) for name in shipped_recipes() if name.startswith(typed)]
    return found if found and "/" not in typed else [CompletionItem(typed, type="file")]


def encoding_names(ctx: click.Context, parameter: click.Parameter, typed: str) -> list[CompletionItem]:
    """Camera encodings."""
    from rushlight.pipelines.colour.camera_encodings import encodings

    return _those((each.name for each in encodings()), typed)


def topic_names(ctx: click.Context, parameter: click.Parameter, typed: str) -> list[CompletionItem]:
    """Pages of the reference."""
    from rushlight.batch.help.topics import topics

    return [CompletionItem(each.name, help=each.words) for each in topics() if each.name.startswith(typed)]


def columns(ctx: click.Context, parameter: click.Parameter, typed: str) -> list[CompletionItem]:
    """`COLUMN=` for --only, with the values that the list has of one."""
    rows = _rows()
    name, equals, _ = typed.partition("=")
    if not equals:
        found = {column for row in rows for column in row} or _known_columns()
        return _those((f"{column}=" for column in sorted(found)), typed)
    values = sorted({row.get(name.lower(), "") for row in rows} - {""})
    return _those((f"{name}={value}" for value in values), typed)


def clips(ctx: click.Context, parameter: click.Parameter, typed: str) -> list[CompletionItem]:
    """Clips of the list that stands before."""
    return _those(sorted({row.get("clip", "") for row in _rows()} - {""}), typed)


def _those(names: Iterable[str], typed: str) -> list[CompletionItem]:
    return [CompletionItem(name) for name in names if name.casefold().startswith(typed.casefold())]


def _known_columns() -> set[str]:
    from rushlight.batch.lists.list_columns import COLUMNS

    return set(COLUMNS)


def _rows() -> list[dict[str, str]]:
    """Cells of the rows of the list that is named on the line; none where it names none, or a folder or a day."""
    from rushlight.batch.lists.clip_list import read_csv

    for word in split_arg_string(os.environ.get("COMP_WORDS", "")):
        path = Path(word).expanduser()
        with suppress(OSError, RushlightError):
            if path.suffix.lower() in SUFFIXES and os.path.getsize(path) <= LARGEST:
                text = path.read_text(encoding="utf-8", errors="replace")
                return [dict(row.cells) for row in read_csv(text, file=str(path)).rows]
    return []
