"""The queue commands: options and one call each. What they do is in queue_operations.py, imported when one runs."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import click

from rushlight.batch.farm.worker_options import crew_of, crew_options

__all__ = ["held_to", "night_options", "queue_commands", "replaced_option", "terms_of"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)
_HELP = {
    "hold": "Keep clips from being started.",
    "release": "Let held clips be started again.",
    "retry": "Queue failed and set-aside clips again, with a fresh count; rows that were wrong are read again from their lists.",
    "drop": "Take clips out of the queue; what was delivered stays.",
}


def _queue_option(command: Command) -> Command:
    return click.option("--queue", type=PATH, help="The queue's file.  [default: one in your state folder]")(
        command
    )


def night_options(command: Command) -> Command:
    """The options of a run that nobody watches: the same for render and queue run."""
    for option in (
        click.option(
            "--on-failure",
            metavar="COMMAND",
            help="The same where not everything was delivered, ahead of --on-finish, and at a first pause.",
        ),
        click.option(
            "--on-finish",
            metavar="COMMAND",
            help="Run this at the end, the summary as JSON on its input. Its words are run as a program and its"
            " arguments, without a shell.",
        ),
        click.option(
            "--on-late",
            metavar="COMMAND",
            help="Run this once, the forecast as JSON on its input, when not all will be ready by --ready-by.",
        ),
        click.option(
            "--ready-by",
            metavar="HH:MM",
            default="",
            help="Say as soon as not all will be ready when a clock shows this next.",
        ),
        click.option(
            "--mode", metavar="OCTAL", help="Permissions of what is made, such as 664.  [default: by umask]"
        ),
        click.option(
            "--keep-free",
            metavar="SIZE",
            default="500MB",
            show_default=True,
            help="Pause while the output's disk has less room than this.",
        ),
    ):
        command = option(command)
    return command


def terms_of(options: dict[str, Any], view: Any) -> Any:
    """Those options as given, said where a clock is meant. OptionError naming the one that is wrong."""
    from datetime import UTC, datetime

    from rushlight.batch.disks import parse_mode, parse_size
    from rushlight.batch.run.events import Terms
    from rushlight.batch.run.forecast import moment_text, next_time

    ready_by = None
    if options["ready_by"]:
        ready_by = next_time(options["ready_by"], datetime.now(UTC)).timestamp()
        view.say(f"to be ready by {moment_text(ready_by)}")
    return Terms(
        keep_free=parse_size(options["keep_free"]),
        mode=parse_mode(options["mode"]) if options["mode"] else None,
        ready_by=ready_by,
    )


def held_to(terms: Any, options: dict[str, Any], view: Any, night: Callable[[], int]) -> int:
    """Run the night with its permissions and its commands. Gives its exit code."""
    from rushlight.batch.disks import made_with
    from rushlight.batch.interrupts import on_hangup
    from rushlight.batch.run.hooks import parse_hooks, ringing

    hooks = parse_hooks(options["on_finish"], options["on_failure"], options["on_late"])
    on_hangup(view.words.hung_up)
    try:
        with made_with(terms.mode):
            return ringing(hooks, view, night)
    except BaseException as error:
        if view.words.dead:
            view.words.note(f"rushlight: {error or type(error).__name__}")
        raise


def replaced_option(command: Command) -> Command:
    """What becomes of outputs that newer ones replace: the same for render and queue add."""
    return click.option(
        "--replaced",
        type=click.Choice(["keep", "remove"]),
        default="keep",
        show_default=True,
        help="Keep outputs that newer ones replace, under revisions/, or remove them.",
    )(command)


def _queue(given: Path | None) -> Path:
    from rushlight.batch.run.queue_operations import default_queue

    return given or default_queue()


def queue_commands(
    answering: Callable[..., Command],
    request_options: Callable[[Command], Command],
    request: Callable[[Path, dict[str, Any]], Any],
) -> click.Group:
    """The group `rushlight queue`, with what main.py gives every command."""

    @click.group()
    def queue() -> None:
        """Lists that join a queue during the day, and its run at wrap."""

    @queue.command()
    @click.argument("clip_lists", metavar="LIST...", type=PATH, nargs=-1, required=True)
    @request_options
    @click.option("--out", type=PATH, required=True, help="The folder for everything that is made.")
    @replaced_option
    @click.option("--priority", type=int, default=0, show_default=True, help="Higher ones start first.")
    @_queue_option
    @answering
    def add(clip_lists: tuple[Path, ...], **options: Any) -> int:
        """Queue what RECIPE says of every clip of each LIST; what is there and unchanged is left alone."""
        from rushlight.batch.run.progress import view
        from rushlight.batch.run.queue_operations import add as call

        return call(
            [request(path, options) for path in clip_lists],
            queue=_queue(options["queue"]),
            priority=options["priority"],
            view=view(quiet=False, as_json=False),
        )

    @queue.command()
    @click.option("--until", default="", metavar="HH:MM", help="Start nothing after this time of day.")
    @click.option("--stay", is_flag=True, help="Wait for more when all is done, until Ctrl-C.")
    @crew_options
    @click.option("--quiet", is_flag=True, help="Say nothing but the summary.")
    @click.option("--json", "as_json", is_flag=True, help="One JSON event a line on standard output.")
    @night_options
    @_queue_option
    @partial(answering, night=True)
    def run(**options: Any) -> int:
        """Run the queue. Lists added meanwhile join in."""
        return _run(options)

    @queue.command("list")
    @click.option("--json", "as_json", is_flag=True, help="Every job, as one JSON document.")
    @_queue_option
    @answering
    def list_(as_json: bool, queue: Path | None) -> int:
        """List the jobs, first to be run first."""
        from rushlight.batch.run.queue_operations import show

        return show(_queue(queue), as_json=as_json)

    for name, text in _HELP.items():
        queue.command(name, help=text)(_change_command(name, answering))
    return queue


def _run(options: dict[str, Any]) -> int:
    """`rushlight queue run`, by its options."""
    from datetime import UTC, datetime

    from rushlight.batch.run.forecast import next_time
    from rushlight.batch.run.progress import view
    from rushlight.batch.run.queue_operations import run_queue

    show = view(quiet=options["quiet"], as_json=options["as_json"])
    terms = terms_of(options, show)
    until = next_time(options["until"], datetime.now(UTC)) if options["until"] else None

    def night() -> int:
        return run_queue(
            _queue(options["queue"]),
            crew=crew_of(options),
            until=until,
            stay=options["stay"],
            view=show,
            terms=terms,
        )

    return held_to(terms, options, show, night)


def _change_command(name: str, answering: Callable[[Command], Command]) -> Command:
    @click.argument("clips", metavar="[CLIP]...", nargs=-1)
    @click.option("--all", "everything", is_flag=True, help="Every clip of the queue.")
    @_queue_option
    @answering
    def change(clips: tuple[str, ...], everything: bool, queue: Path | None) -> int:
        from rushlight.batch.run.progress import view
        from rushlight.batch.run.queue_operations import change as call

        return call(_queue(queue), name, clips, everything=everything, view=view(quiet=False, as_json=False))

    return change
