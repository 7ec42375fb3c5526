"""The command line: options, one call, one except, an exit code (exit_codes.py). Modules that read pictures are imported by the commands that need them."""

from __future__ import annotations

import functools
import gc
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar, Unpack, cast

import click

from rushlight.batch.cli.about_commands import about_commands
from rushlight.batch.cli.day_commands import day_commands
from rushlight.batch.cli.handover_command import handover_command
from rushlight.batch.cli.night_options import crew_options, night_options, replaced_option, watched
from rushlight.batch.cli.queue_commands import queue_commands
from rushlight.batch.cli.recipes_command import recipes_command
from rushlight.batch.cli.request_options import part_options, request_options
from rushlight.batch.cli.serve_command import serve_command
from rushlight.batch.cli.space_command import space_command
from rushlight.batch.exit_codes import DONE, FAULT, PARTLY, STOPPED, WRONG
from rushlight.batch.help import completion
from rushlight.batch.help.command_help import Commands
from rushlight.batch.interrupts import listening
from rushlight.batch.own_process import own_process, put_away
from rushlight.batch.terminal.console import say, say_json
from rushlight.batch.terminal.terminal_or_log import is_terminal, let_go
from rushlight.pipelines.errors import InputError, QueueError, RushlightError

if TYPE_CHECKING:
    from rushlight.batch.api.plan import PlanOptions
    from rushlight.batch.api.render import RenderOptions
    from rushlight.batch.api.requests import RequestOptions

__all__ = ["main"]

Command = Callable[..., int]
P = ParamSpec("P")
Given = TypeVar("Given", "RenderOptions", "PlanOptions")
_REQUEST = (
    "recipe", "media", "sound", "manifest", "grades", "defaults", "encoding", "levels", "rate", "only", "strict", "hash_originals", "replaced",
)  # fmt: skip


def _answering(command: Callable[P, int], *, night: bool = False) -> Callable[P, int]:
    """One except for every command: an error of ours is one line and an exit code, a fault of ours says so.

    A `night` minds signals itself, and goes on where its terminal goes; others stop where they are."""

    @functools.wraps(command)
    def answer(*args: P.args, **kwargs: P.kwargs) -> int:
        traceback, terminal = kwargs.pop("traceback", False), is_terminal(sys.stdout)
        try:
            with listening(night=night):
                code = command(*args, **kwargs)
        except (InputError, QueueError) as error:
            if traceback:
                raise
            _tell(f"rushlight: {error}")
            code = WRONG
        except RushlightError as error:
            if traceback:
                raise
            _tell(f"rushlight: {error}")
            code = PARTLY
        except KeyboardInterrupt:
            _tell("rushlight: stopped")
            code = STOPPED
        except BrokenPipeError:
            code = DONE
        except Exception as error:
            if traceback:
                raise
            if terminal and not is_terminal(sys.stdout):  # it was closed: nobody is there to be told
                sys.exit(DONE)
            _tell(f"rushlight: a fault of its own: {type(error).__name__}: {error} (--traceback shows where)")
            code = FAULT
        sys.exit(code)

    return click.option("--traceback", is_flag=True, hidden=True, help="Show where an error was raised.")(
        answer
    )


def _tell(text: str) -> None:
    with suppress(OSError):  # the terminal may be gone
        say(text, error=True)


PATH = click.Path(path_type=Path)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="rushlight", prog_name="rushlight")
def cli() -> None:
    """A shooting day's log originals into graded, slated, timecoded proxies and stills, overnight."""


def _given(options: Given, origin: Path | None) -> Given:
    """With `--from`, which has all that was asked for then, only those options of a request that were given now."""
    if origin is None:
        return options
    source = click.get_current_context().get_parameter_source
    given = {name for name in options if source(name) is click.core.ParameterSource.COMMANDLINE}
    kept = {name: value for name, value in options.items() if name in given or name not in _REQUEST}
    return cast("Given", kept)


@cli.command()
@click.argument("clip_list", metavar="[LIST]", type=PATH, required=False)
@request_options
@part_options
@click.option("--out", type=PATH, help="The folder for everything that is made.")
@click.option(
    "--from",
    "origin",
    type=PATH,
    metavar="DIR",
    help="Make DIR again from what it keeps, in place of LIST; into DIR itself without --out.",
)
@crew_options
@click.option("--strict", is_flag=True, help="Refuse the whole request if any row is wrong.")
@click.option(
    "--hash-originals", is_flag=True, help="Record a hash of each whole original, not only of its ends."
)
@replaced_option
@click.option("--quiet", is_flag=True, help="Say nothing but the summary.")
@click.option("--json", "as_json", is_flag=True, help="One JSON event a line on standard output.")
@night_options
@functools.partial(_answering, night=True)
def render(
    clip_list: Path | None,
    origin: Path | None,
    out: Path | None,
    quiet: bool,
    as_json: bool,
    **options: Unpack[RenderOptions],
) -> int:
    """Make what RECIPE says of every clip of LIST; what is there and unchanged is left alone."""
    from rushlight.batch.api.render import render as make
    from rushlight.batch.terminal.progress import view

    show, given = view(quiet=quiet, as_json=as_json), _given(options, origin)
    return watched(show, lambda: make(clip_list, out=out, from_=origin, on_event=show, **given).code)


@cli.command()
@click.argument("clip_list", metavar="[LIST]", type=PATH, required=False)
@request_options
@part_options
@click.option("--out", type=PATH, help="The output folder, for its free space and what is made already.")
@click.option("--from", "origin", type=PATH, metavar="DIR", help="Plan to make DIR again from what it keeps.")
@click.option("--json", "as_json", is_flag=True, help="Everything, as one JSON document.")
@click.option(
    "--write", type=PATH, metavar="FILE.csv", help="Write the list with everything stated, for render."
)
@click.option(
    "--ready-by",
    metavar="HH:MM",
    default="",
    help="Say what will be ready by the next time a clock shows this.",
)
@click.option(
    "--workers", type=click.IntRange(1, 256), help="Reckon with so many workers.  [default: one a core]"
)
@click.option(
    "--clips",
    "all_clips",
    is_flag=True,
    help="Show each clip, however many: its grade and why, encoding, timecode, sound; and each original and recording that no row names.",
)
@_answering
def plan(
    clip_list: Path | None,
    origin: Path | None,
    as_json: bool,
    all_clips: bool,
    **options: Unpack[PlanOptions],
) -> int:
    """Show what would be made, each clip's grade and why, and everything that is wrong.

    Exit codes: 0 all well; 1 some rows are wrong; 2 the request as a whole is wrong.
    """
    from rushlight.batch.cli.plan_command import show_plan

    return show_plan(clip_list, origin, as_json=as_json, all_clips=all_clips, **_given(options, origin))


@cli.command()
@click.argument("clip_list", metavar="LIST", type=PATH)
@click.argument("clip", metavar="CLIP", shell_complete=completion.clips)
@request_options
@click.option(
    "--export", type=PATH, metavar="FILE", help="Write the whole look as a 3D LUT, FILE.cube or FILE.clf."
)
@click.option("--size", type=click.Choice(["33", "65"]), default="33", help="Points a side of that LUT.")
@click.option("--plot", type=PATH, metavar="FILE.png", help="Draw its curves and chromaticities.")
@click.option(
    "--picture",
    type=PATH,
    metavar="FILE.png|.html",
    help="Show a frame log, show, graded, and its exposure in false colours.",
)
@click.option("--at", default="", metavar="TIMECODE", help="That frame.  [default: the middle one]")
@click.option(
    "--compare", default="", metavar="GRADE", help="Also under another grade: FILE, FILE#ID or `none`."
)
@click.option("--output", default="", metavar="NAME", help="The look that this output of the recipe shows.")
@click.option("--json", "as_json", is_flag=True, help="Everything, as one JSON document.")
@_answering
def look(
    clip_list: Path,
    clip: str,
    export: Path | None,
    size: str,
    plot: Path | None,
    picture: Path | None,
    at: str,
    compare: str,
    output: str,
    as_json: bool,
    **options: Unpack[RequestOptions],
) -> int:
    """Show what the look of CLIP does to black, grey, white and the 24 patches, layer by layer."""
    from rushlight.batch.cli.look_command import show_look

    return show_look(
        clip_list,
        clip,
        export=export,
        size=int(size),
        plot=plot,
        picture=picture,
        at=at,
        compare=compare,
        output=output,
        as_json=as_json,
        **options,
    )


@cli.command()
@click.argument("clip_list", metavar="LIST", type=PATH)
@request_options
@click.option("--to", type=PATH, required=True, metavar="FOLDER", help="The folder for the files.")
@click.option("--json", "as_json", is_flag=True, help="Everything, as one JSON document.")
@_answering
def grades(clip_list: Path, to: Path, as_json: bool, **options: Unpack[RequestOptions]) -> int:
    """Write the grades of LIST for others: .cdl and AMF a clip, one .ccc, EDL with ASC CDL, .cube and .clf a look."""
    from rushlight.batch.cli.grades_command import show_grades

    return show_grades(clip_list, to, as_json=as_json, **options)


@cli.command()
@click.option("--json", "as_json", is_flag=True, help="The list as one JSON document.")
@_answering
def encodings(as_json: bool) -> int:
    """List the camera encodings: grey, levels, source."""
    from rushlight.batch.cli.catalogue_commands import show_encodings

    return show_encodings(as_json=as_json)


@cli.command()
@click.argument("name", required=False, default="")
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="The list as one JSON document. A schema is printed as JSON anyway.",
)
@_answering
def schema(name: str, as_json: bool) -> int:
    """List the JSON Schemas of records, events and summaries, or print one (draft 2020-12)."""
    from rushlight.batch.cli.catalogue_commands import show_schema

    return show_schema(name, as_json=as_json)


@cli.command()
@click.argument("folder", metavar="DIR", type=PATH)
@click.option(
    "--no-hash", is_flag=True, help="Measure pictures, timecode and tags only; compare no file hashes."
)
@click.option(
    "--against", type=PATH, metavar="OTHER", help="Compare the colour with another render of the list."
)
@click.option(
    "--reference", type=PATH, metavar="FOLDER", help="Compare with frames taken from a monitor on set."
)
@click.option("--workers", type=click.IntRange(1, 256), help="Worker processes.  [default: one a core]")
@click.option("--json", "as_json", is_flag=True, help="Everything, as one JSON document.")
@_answering
def verify(
    folder: Path,
    no_hash: bool,
    against: Path | None,
    reference: Path | None,
    workers: int | None,
    as_json: bool,
) -> int:
    """Measure deliveries against the log: frames, timecode, tags, colour."""
    from rushlight.batch.cli.verify_command import show_verify

    return show_verify(
        folder, no_hash=no_hash, against=against, reference=reference, workers=workers, as_json=as_json
    )


@cli.command()
@click.argument("media", metavar="MEDIA", type=PATH)
@click.option(
    "--manifest",
    type=PATH,
    metavar="FILE",
    help="The manifest (.mhl), or a folder `ascmhl`.  [default: all that lie in MEDIA]",
)
@click.option("--json", "as_json", is_flag=True, help="Everything, as one JSON document.")
@_answering
def check(media: Path, manifest: Path | None, as_json: bool) -> int:
    """Hold the originals in MEDIA, a folder or a day (day.toml), or a closed delivery, against their hash manifests (ASC MHL 2.0); nothing is written.

    It proves that the files are what the maker of the manifest saw, not that the card was complete, and does not
    replace the production's own copy procedure.

    Exit codes: 0 all match; 1 something differs, is missing or cannot be told; 2 MEDIA or FILE is wrong.
    """
    from rushlight.batch.cli.check_command import show_check

    return show_check(media, manifest=manifest, as_json=as_json)


@cli.command()
@click.argument("folder", metavar="DIR", type=PATH)
@click.option("--json", "as_json", is_flag=True, help="Where the pages are, as one JSON document.")
@_answering
def report(folder: Path, as_json: bool) -> int:
    """Make the pages of an output folder from its log."""
    from rushlight.batch.api.report import report as make

    made = make(folder)
    if as_json:
        say_json(made.document(), indent=None)
    else:
        for page in made.pages:
            say(f"report: {page}")
    return DONE


cli.add_command(queue_commands(_answering, request_options))
cli.add_command(day_commands(_answering))
cli.add_command(serve_command(_answering))
cli.add_command(recipes_command(_answering))
for about in about_commands(_answering):
    cli.add_command(about)
cli.add_command(handover_command(_answering))
cli.add_command(space_command(_answering))


def main() -> None:
    """The console script."""
    own_process()
    gc.set_threshold(
        100_000, 20, 50
    )  # a plan makes objects by the million and drops few: looking finds nothing
    try:
        cli(prog_name="rushlight", standalone_mode=True)
    except SystemExit as end:
        let_go()
        if end.code == STOPPED:  # with no wait for what was dropped
            put_away()
            os._exit(STOPPED)
        raise
