"""Commands about rushlight itself: help on a topic, completion for shells, and what this machine is able to do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from rushlight.batch.help import completion as complete
from rushlight.batch.help.command_help import HelpedCommand

__all__ = ["about_commands"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)


def about_commands(answering: Callable[..., Command]) -> tuple[click.Command, ...]:
    """The commands, with what main.py gives every command."""

    @click.command("help", cls=HelpedCommand)
    @click.argument("topic", required=False, default="", shell_complete=complete.topic_names)
    @click.option("--json", "as_json", is_flag=True, help="The topics, or the page, as one JSON document.")
    @answering
    def help_(topic: str, as_json: bool) -> int:
        """List the topics that there is a page of, or show one."""
        from rushlight.batch.cli.help_command import show_help

        return show_help(topic, as_json=as_json)

    @click.command(cls=HelpedCommand)
    @click.argument("shell", metavar="bash|zsh|fish")
    @answering
    def completion(shell: str) -> int:
        """Print what a shell needs to complete commands, options, recipes, encodings, columns and clips."""
        click.echo(complete.script(shell))
        return 0

    @click.command(cls=HelpedCommand)
    @click.argument("folders", metavar="[FOLDER]...", type=PATH, nargs=-1)
    @click.option("--no-speed", is_flag=True, help="Leave out how fast recipes are made here.")
    @click.option(
        "--recipe",
        multiple=True,
        shell_complete=complete.recipe_names,
        help="Measure the speed of this recipe.  [default: all that ship]  Repeatable.",
    )
    @click.option("--json", "as_json", is_flag=True, help="Everything, as one JSON document.")
    @answering
    def doctor(folders: tuple[Path, ...], no_speed: bool, recipe: tuple[str, ...], as_json: bool) -> int:
        """Look at this machine: versions, codecs, fonts, ports, the disks of FOLDERs, and how fast shipped recipes are made.

        Exit codes: 0 all well; 1 something will stand in the way, and it says what.
        """
        from rushlight.batch.cli.doctor_command import show_doctor

        return show_doctor(folders, speed=not no_speed, recipes=recipe, as_json=as_json)

    return help_, completion, doctor
