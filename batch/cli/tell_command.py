"""`rushlight day tell`: who is told of a day, and what each server answered to a test."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from rushlight.batch.terminal.console import say_json, say_wrapped

__all__ = ["tell_command"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)


def tell_command(answering: Callable[..., Command]) -> Command:
    """The command, with what main.py gives every command."""

    @click.argument("document", metavar="DAY.toml", type=PATH)
    @click.option("--test", is_flag=True, help="Send a test message, and say what each server answered.")
    @click.option("--json", "as_json", is_flag=True, help="The same, as one JSON document.")
    @answering
    def tell(document: Path, test: bool, as_json: bool) -> int:
        """Say who is told of a day, how, and of what."""
        from rushlight.batch.api.tell import tell

        told = tell(document, test=test)
        if as_json:
            say_json(told.document())
            return told.code
        for channel in told.channels:
            say_wrapped(channel)
        say_wrapped(
            f"told: {', '.join(told.changes) or 'nothing'}; at most one message in {told.every} minutes, and the last"
        )
        for answer in told.answers:
            say_wrapped(f"{answer.channel}: {'sent' if answer.taken else 'NOT SENT'}: {answer.text}")
        return told.code

    return tell
