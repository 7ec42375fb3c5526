"""The options of a run that nobody watches, the same for render and queue run; and how it is held to its terminal."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rushlight.batch.interrupts import on_hangup

if TYPE_CHECKING:
    from rushlight.batch.terminal.progress import View

__all__ = ["crew_options", "night_options", "queue_option", "replaced_option", "watched"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)


def crew_options(command: Command) -> Command:
    """The options that say who works: the same for render and queue run."""
    for option in reversed(
        [
            click.option(
                "--workers", type=click.IntRange(1, 256), help="Worker processes.  [default: one a core]"
            ),
            click.option(
                "--scheduler",
                metavar="ADDR",
                default="",
                help="A Dask scheduler whose workers do the work: tls://HOST:PORT, or one on 127.0.0.1.",
            ),
            click.option("--tls-ca-file", type=PATH, help="Certificate of the farm's own authority (PEM)."),
            click.option("--tls-cert", type=PATH, help="This machine's certificate (PEM)."),
            click.option("--tls-key", type=PATH, help="The key of that certificate (PEM)."),
            click.option(
                "--map",
                "map",
                metavar="HERE=THERE",
                multiple=True,
                help="The folder HERE of this machine is THERE on the others. Repeatable.",
            ),
            click.option(
                "--stalled-after",
                type=click.FloatRange(min=0.05),
                metavar="MINUTES",
                default=10.0,
                show_default=True,
                help="End a worker that gets nothing done for so many minutes; another one takes over.",
            ),
            click.option(
                "--graphics",
                type=click.Choice(["auto", "off", "require"]),
                help="Grade on a graphics card where one can be used, never, or nowhere else; the bytes are the same."
                "  [default: auto]",
            ),
        ]
    ):
        command = option(command)
    return command


def night_options(command: Command) -> Command:
    """The options of a run that nobody watches: the same for render and queue run."""
    for option in (
        click.option(
            "--on-failure",
            metavar="COMMAND",
            help="Run this if not everything was delivered, before --on-finish, and at the first pause.",
        ),
        click.option(
            "--on-finish",
            metavar="COMMAND",
            help="Run this at the end, with the summary as JSON on its input. Its words are run as a program and its"
            " arguments, without a shell.",
        ),
        click.option(
            "--on-late",
            metavar="COMMAND",
            help="Run this once if not all will be ready by --ready-by, with the forecast as JSON on its input.",
        ),
        click.option(
            "--ready-by",
            metavar="HH:MM",
            default="",
            help="Say so as soon as not everything can be ready by the next time a clock shows this.",
        ),
        click.option(
            "--mode", metavar="OCTAL", help="Permissions of the files made, such as 664.  [default: by umask]"
        ),
        click.option(
            "--keep-free",
            metavar="SIZE",
            default="500MB",
            show_default=True,
            help="Pause while the output's disk has less free space than this.",
        ),
    ):
        command = option(command)
    return command


def queue_option(command: Command) -> Command:
    """`--queue`: the same for all commands of a queue and of a day."""
    return click.option("--queue", type=PATH, help="The queue's file.  [default: one in your state folder]")(
        command
    )


def replaced_option(command: Command) -> Command:
    """`--replaced`: keep or remove replaced outputs; the same for render and queue add."""
    return click.option(
        "--replaced",
        type=click.Choice(["keep", "remove"]),
        default="keep",
        show_default=True,
        help="Keep outputs that newer ones replace, under revisions/, or remove them.",
    )(command)


def watched(view: View, night: Callable[[], int]) -> int:
    """A night that goes on where its terminal goes, and says in its log what it would have said there."""
    on_hangup(view.words.hung_up)
    try:
        return night()
    except BaseException as error:
        if view.words.dead:
            view.words.note(f"rushlight: {error or type(error).__name__}")
        raise
