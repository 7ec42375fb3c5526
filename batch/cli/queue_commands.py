"""The queue commands: options and one call each. What they do is in the API, imported when one runs."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Unpack

import click

from rushlight.batch.cli.night_options import (
    crew_options,
    night_options,
    queue_option,
    replaced_option,
    watched,
)
from rushlight.batch.help.command_help import Commands

if TYPE_CHECKING:
    from rushlight.batch.api.nights import NightOptions
    from rushlight.batch.api.requests import RequestOptions

__all__ = ["queue_commands"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)
_HELP = {
    "hold": "Keep clips from being started.",
    "release": "Let held clips be started again.",
    "retry": "Queue failed and set-aside clips again, with a fresh count; rows that were wrong are read again from their lists.",
    "drop": "Take clips out of the queue; what was delivered stays.",
}


def queue_commands(
    answering: Callable[..., Command],
    request_options: Callable[[Command], Command],
) -> click.Group:
    """The group `rushlight queue`, with what main.py gives every command."""

    @click.group(cls=Commands)
    def queue() -> None:
        """Collect lists in a queue during the day, and render them at wrap."""

    queue.command("add")(_add_command(answering, request_options))

    @queue.command()
    @click.option("--until", default="", metavar="HH:MM", help="Start nothing after this time of day.")
    @click.option("--stay", is_flag=True, help="Wait for more when all is done, until Ctrl-C.")
    @crew_options
    @click.option("--quiet", is_flag=True, help="Say nothing but the summary.")
    @click.option("--json", "as_json", is_flag=True, help="One JSON event a line on standard output.")
    @night_options
    @queue_option
    @partial(answering, night=True)
    def run(
        until: str,
        stay: bool,
        quiet: bool,
        as_json: bool,
        queue: Path | None,
        **options: Unpack[NightOptions],
    ) -> int:
        """Render what is queued. Lists that are added meanwhile are taken in."""
        from rushlight.batch.api.queue import run
        from rushlight.batch.terminal.progress import view

        show = view(quiet=quiet, as_json=as_json)
        return watched(show, lambda: run(queue=queue, until=until, stay=stay, on_event=show, **options).code)

    @queue.command("list")
    @click.option("--json", "as_json", is_flag=True, help="Every job, as one JSON document.")
    @queue_option
    @answering
    def list_(as_json: bool, queue: Path | None) -> int:
        """List the jobs in the order in which they will run."""
        from rushlight.batch.printed.queue_page import show_queue

        return show_queue(queue, as_json=as_json)

    for name, text in _HELP.items():
        queue.command(name, help=text)(_change_command(name, answering))
    return queue


def _change_command(name: str, answering: Callable[[Command], Command]) -> Command:
    @click.argument("clips", metavar="[CLIP]...", nargs=-1)
    @click.option("--all", "everything", is_flag=True, help="Every clip of the queue.")
    @queue_option
    @answering
    def change(clips: tuple[str, ...], everything: bool, queue: Path | None) -> int:
        from rushlight.batch.api import queue as queues
        from rushlight.batch.terminal.progress import view

        show = view(quiet=False, as_json=False)
        return int(getattr(queues, name)(clips, all=everything, queue=queue, on_event=show).code)

    return change


def _add_command(answering: Callable[..., Command], request_options: Callable[[Command], Command]) -> Command:
    @click.argument("clip_lists", metavar="LIST...", type=PATH, nargs=-1, required=True)
    @request_options
    @click.option("--out", type=PATH, help="The folder for everything that is made.")
    @replaced_option
    @click.option("--priority", type=int, default=0, show_default=True, help="Higher ones start first.")
    @queue_option
    @answering
    def add(
        clip_lists: tuple[Path, ...],
        out: Path | None,
        replaced: str,
        priority: int,
        queue: Path | None,
        **options: Unpack[RequestOptions],
    ) -> int:
        """Queue what RECIPE says of every clip of each LIST; what is there and unchanged is left alone."""
        from rushlight.batch.api.queue import add
        from rushlight.batch.terminal.progress import view

        show = view(quiet=False, as_json=False)
        made = add(
            clip_lists, out=out, queue=queue, priority=priority, replaced=replaced, on_event=show, **options
        )
        return made.code

    return add
