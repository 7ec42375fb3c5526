"""The options that say what is to be made: those of a request, and those that name a part of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from rushlight.batch.help import completion

__all__ = ["part_options", "request_options"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)


def request_options(command: Command) -> Command:
    """The options that say what is to be made: the same for render, plan, look and queue add."""
    for option in reversed(
        [
            click.option(
                "--recipe",
                shell_complete=completion.recipe_names,
                help="A shipped recipe's name, or a TOML file.  [default: the day's, else overnight]",
            ),
            click.option(
                "--media", type=PATH, multiple=True, help="A folder that holds originals. Repeatable."
            ),
            click.option(
                "--sound", type=PATH, multiple=True, help="A folder that holds production sound. Repeatable."
            ),
            click.option(
                "--manifest",
                type=PATH,
                multiple=True,
                metavar="FILE|auto",
                help="A hash manifest (ASC MHL 2.0) of originals, compared before a clip is rendered; `auto`: those"
                " of the folders they lie in. Repeatable.",
            ),
            click.option(
                "--grades", type=PATH, multiple=True, help="Colour decisions: a file or folder. Repeatable."
            ),
            click.option(
                "--defaults", type=PATH, help="A TOML file of defaults by camera, reel or file pattern."
            ),
            click.option(
                "--encoding",
                default="",
                shell_complete=completion.encoding_names,
                help="Encoding of clips for which list, defaults and recipe state none.",
            ),
            click.option(
                "--levels",
                type=click.Choice(["narrow", "full"]),
                help="Levels of clips for which list, defaults and recipe state none.",
            ),
            click.option("--rate", default="", help="Frames a second of sequences whose headers state none."),
            click.option(
                "--only",
                multiple=True,
                shell_complete=completion.columns,
                metavar="COLUMN=VALUE",
                help="Take only rows whose cell says this. Repeatable.",
            ),
        ]
    ):
        command = option(command)
    return command


def part_options(command: Command) -> Command:
    """What is to be made in place of all: the same for render and plan."""
    for option in reversed(
        [
            click.option(
                "--output",
                multiple=True,
                metavar="NAME",
                help="Make only this output of the recipe. Repeatable.",
            ),
            click.option(
                "--range",
                multiple=True,
                metavar="CLIP=IN-OUT",
                help="Make only this part of CLIP, under a name of its own: timecodes as delivered, OUT exclusive. Repeatable.",
            ),
            click.option(
                "--still",
                multiple=True,
                metavar="CLIP=TIMECODE",
                help="Make only this still of CLIP, in the recipe's outputs of stills. Repeatable.",
            ),
        ]
    ):
        command = option(command)
    return command
