"""`rushlight help`: the pages of the reference at a terminal, or as plain text."""

from __future__ import annotations

import sys

from rushlight.batch.exit_codes import DONE
from rushlight.batch.help.topics import topic, topics
from rushlight.batch.terminal.console import say, say_json
from rushlight.batch.terminal.terminal_or_log import is_terminal
from rushlight.batch.terminal.text_tables import page_width, print_table

__all__ = ["show_help"]


def show_help(name: str, *, as_json: bool) -> int:
    """`rushlight help [TOPIC]`: the topics, or one page: set out at a terminal, else Markdown as it stands."""
    if not name:
        if as_json:
            say_json([each.document() for each in topics()])
        else:
            print_table(["topic", "about"], [[each.name, each.words.replace("`", "")] for each in topics()])
            say("\nrushlight help TOPIC shows one; rushlight COMMAND --help what a command takes.")
        return DONE
    page = topic(name)
    if as_json:
        say_json({**page.document(), "text": page.text})
    elif is_terminal(sys.stdout):
        _set_out(page.text)
    else:
        sys.stdout.write(page.text)
    return DONE


def _set_out(text: str) -> None:
    from rich.console import Console
    from rich.markdown import Markdown

    Console(width=page_width()).print(Markdown(text, code_theme="default"))
