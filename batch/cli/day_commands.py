"""The group `rushlight day`: a shooting day from one document."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rushlight.batch.cli.console import say, say_json, say_wrapped
from rushlight.batch.exit_codes import DONE
from rushlight.pipelines.counted import counted

if TYPE_CHECKING:
    from rushlight.batch.api.day import NewDay

__all__ = ["day_commands"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)


def day_commands(answering: Callable[..., Command]) -> click.Group:
    """The group, with what main.py gives every command."""

    @click.group()
    def day() -> None:
        """A shooting day from one document, day.toml, which other commands take in place of a list."""

    @day.command()
    @click.argument("media", metavar="MEDIA", type=PATH)
    @click.option("--to", type=PATH, required=True, metavar="FILE.toml", help="The new file.")
    @click.option("--json", "as_json", is_flag=True, help="What was found, as one JSON document.")
    @answering
    def new(media: Path, to: Path, as_json: bool) -> int:
        """Write a day document to begin with, from the headers of the folder MEDIA."""
        from rushlight.batch.api.day import new as make

        made = make(media, to=to)
        if as_json:
            say_json(made.document())
        else:
            _print_new(made, to)
        return DONE

    return day


def _print_new(made: NewDay, file: Path) -> None:
    for camera in made.cameras:
        header = f"; header: {camera.header}" if camera.header else ""
        say_wrapped(f"{camera.name}: {counted(len(camera.clips), 'clip')}, {camera.formats}{header}")
    for folder in made.sound:
        say_wrapped(f"sound: {folder}")
    for path, why in made.unreadable:
        say_wrapped(f"not readable: {path}: {why}")
    say_wrapped(f"written: {file}")
    say("still missing, to be stated in it:")
    for text in made.missing:
        say_wrapped(f"  - {text}")
    say_wrapped(f"then: rushlight plan {file}")
