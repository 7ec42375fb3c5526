"""`rushlight handover`, printed: what is missing first, then what was handed over and how to check it."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rushlight.batch.help.command_help import HelpedCommand
from rushlight.batch.shown_time import shown_time
from rushlight.batch.terminal.console import say, say_json, say_wrapped
from rushlight.batch.terminal.progress_line import ProgressLine
from rushlight.batch.terminal.terminal_or_log import is_terminal
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OptionError

if TYPE_CHECKING:
    from rushlight.batch.api.handover import HandoverResult

__all__ = ["handover_command"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)
MOST = 200  # lines of what is missing; all stand in the letter
CAUTION = "A delivery is no backup: its manifest proves that copies are equal to it, nothing more. Keep to the production's own copy procedure."


def handover_command(answering: Callable[[Command], Command]) -> click.Command:
    """The command, with what main.py gives every command."""

    @click.command(cls=HelpedCommand)
    @click.argument("folder", metavar="DIR", type=PATH)
    @click.option("--name", help='Whoever gets it, such as "editor"; the folder is NAME_NNN, numbered.')
    @click.option(
        "--to", type=PATH, metavar="FOLDER", help="The folder to put it in.  [default: where DIR lies]"
    )
    @click.option(
        "--outputs", default="", metavar="A,B", help="Only these outputs of the recipe.  [default: all]"
    )
    @click.option(
        "--all", "whole", is_flag=True, help="Every file, not only what changed since the last one of NAME."
    )
    @click.option("--copy", is_flag=True, help="Copy also on one disk, where files are otherwise linked.")
    @click.option(
        "--no-record", is_flag=True, help="Leave out the record (log/), which --from and verify need."
    )
    @click.option("--json", "as_json", is_flag=True, help="Everything, as one JSON document.")
    @answering
    def handover(
        folder: Path,
        name: str | None,
        to: Path | None,
        outputs: str,
        whole: bool,
        copy: bool,
        no_record: bool,
        as_json: bool,
    ) -> int:
        """Close a delivery of DIR for whoever gets it (without --name: list those that were closed): files, tables, grades, record, letter, page and hash manifest in one folder.

        A later one of the same NAME holds what changed since, and says why. Nothing that was delivered in DIR is changed. It is no
        backup: its manifest proves that copies are equal to it, and nothing more.

        Exit codes: 0 all is in it; 1 something is missing, which the letter says first; 2 the request is wrong.
        """
        if name is None:
            if to or outputs or whole or copy or no_record:
                raise OptionError("is needed: whoever gets the delivery", key="--name")
            return _listed(folder, as_json=as_json)
        chosen = tuple(each.strip() for each in outputs.split(",") if each.strip())
        result = _closed(folder, name, to, chosen, whole=whole, copy=copy, no_record=no_record, quiet=as_json)
        if as_json:
            say_json(result.document())
        else:
            _print(result, folder)
        return result.code

    return handover


def _closed(
    folder: Path,
    name: str,
    to: Path | None,
    outputs: Sequence[str],
    *,
    whole: bool,
    copy: bool,
    no_record: bool,
    quiet: bool,
) -> HandoverResult:
    """The delivery, with a line on how far it is at a terminal."""
    from rushlight.batch.api.handover import handover as close

    line = ProgressLine("handing over") if is_terminal(sys.stderr) and not quiet else None
    try:
        return close(
            folder,
            name=name,
            to=to,
            outputs=outputs,
            all=whole,
            copy=copy,
            no_record=no_record,
            on_progress=line or (lambda progress: None),
        )
    finally:
        if line:
            line.clear()


def _listed(folder: Path, *, as_json: bool) -> int:
    """What was handed over of a folder, and to whom."""
    from rushlight.batch.api.handover import handovers

    found = handovers(folder)
    if as_json:
        say_json({"handovers": [each.plain() for each in found]})
    elif not found:
        say_wrapped(f"{folder}: nothing was handed over yet; --name NAME closes a delivery for NAME")
    else:
        print_table(
            ["delivery", "closed", "holds", "outputs", "files", "no more", "missing"],
            [
                [
                    each.folder,
                    shown_time(each.closed),
                    each.holds,
                    ", ".join(each.outputs),
                    str(len(each.files)),
                    str(len(each.gone)),
                    str(len(each.missing)),
                ]
                for each in found
            ],
        )
    return 0


def _print(result: HandoverResult, out: Path) -> None:
    for each in result.missing[:MOST]:
        say_wrapped(f"MISSING  {each.clip}: {each.state}{f': {each.text}' if each.text else ''}")
    if len(result.missing) > MOST:
        say(f"... and {len(result.missing) - MOST} more: the letter has all")
    for note in result.notes:
        say_wrapped(f"note: {note}")
    if result.folder is None or result.handover is None:
        say_wrapped(
            f"nothing has changed since {result.last}, so nothing was made; --all hands everything over again"
        )
        return
    for gone in result.gone[:MOST]:
        say_wrapped(f"no more to be used  {gone.path}: {gone.why}")
    kinds = Counter(file.since for file in result.files)
    sums = ", ".join(f"{count} {kind}" for kind, count in kinds.items() if kind != "first")
    brought = Counter(file.brought for file in result.files)
    how = ", ".join(f"{count} {word}" for word, count in brought.items())
    say_wrapped(
        f"{result.folder}: {counted(len(result.files), 'file')} ({how or 'none'}){f': {sums}' if sums else ''}"
        f"{f', since {result.last}' if result.last else ''}"
    )
    if brought["linked"]:
        say_wrapped(
            f"linked files are those of {out} itself under a second name: change none of them; --copy copies"
        )
    say_wrapped(f"letter: {result.letter}")
    say_wrapped(f"the receiver's check: rushlight check {result.folder.name}")
    say_wrapped(CAUTION)
