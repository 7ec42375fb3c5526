"""The group `rushlight day`: a shooting day from one document."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Unpack

import click

from rushlight.batch.cli.night_options import crew_options, night_options, queue_option, watched
from rushlight.batch.cli.tell_command import tell_command
from rushlight.batch.exit_codes import DONE
from rushlight.batch.help.command_help import Commands
from rushlight.batch.terminal.console import say, say_json, say_wrapped
from rushlight.pipelines.counted import counted

if TYPE_CHECKING:
    from rushlight.batch.api.day import NewDay
    from rushlight.batch.api.nights import NightOptions

__all__ = ["day_commands"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)


def day_commands(answering: Callable[..., Command]) -> click.Group:
    """The group, with what main.py gives every command."""

    @click.group(cls=Commands)
    def day() -> None:
        """A shooting day from one document, day.toml, which other commands take in place of a list (LIST) or of an output folder (DIR)."""

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

    day.command("run")(_run_command(answering))
    day.command("release")(_release_command(answering))
    day.command("tell")(tell_command(answering))
    return day


def _run_command(answering: Callable[..., Command]) -> Command:
    @click.argument("document", metavar="DAY.toml", type=PATH)
    @click.option("--until", default="", metavar="HH:MM", help="Start nothing after this time of day.")
    @click.option(
        "--hold", is_flag=True, help="Take cards in, and render nothing before `rushlight day release`."
    )
    @click.option(
        "--still",
        type=click.FloatRange(min=0.1),
        metavar="SECONDS",
        default=60.0,
        show_default=True,
        help="A card without a manifest is complete once it has not changed for so long.",
    )
    @click.option(
        "--every",
        type=click.FloatRange(min=0.05),
        metavar="SECONDS",
        default=2.0,
        show_default=True,
        help="Look for what has come this often.",
    )
    @crew_options
    @click.option("--quiet", is_flag=True, help="Say nothing but the summary.")
    @click.option("--json", "as_json", is_flag=True, help="One JSON event a line on standard output.")
    @night_options
    @queue_option
    @partial(answering, night=True)
    def run(
        document: Path,
        until: str,
        hold: bool,
        still: float,
        every: float,
        quiet: bool,
        as_json: bool,
        queue: Path | None,
        **options: Unpack[NightOptions],
    ) -> int:
        """Take cards in as they come, and render them, until Ctrl-C. The same command goes on."""
        from rushlight.batch.api.day import run
        from rushlight.batch.terminal.progress import view

        show = view(quiet=quiet, as_json=as_json)
        night = partial(
            run, document, queue=queue, until=until, hold=hold, still=still, every=every, **options
        )
        return watched(show, lambda: night(on_event=show).code)

    return run


def _release_command(answering: Callable[..., Command]) -> Command:
    @click.argument("document", metavar="DAY.toml", type=PATH)
    @queue_option
    @answering
    def release(document: Path, queue: Path | None) -> int:
        """Let a day that is held be rendered."""
        from rushlight.batch.api.day import release

        found = release(document, queue=queue)
        say(
            f"released: {counted(found.jobs, 'job')} held so far, and what joins {', '.join(map(str, found.folders))}"
        )
        return DONE

    return release


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
