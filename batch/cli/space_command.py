"""`rushlight space`, printed: what folders hold by kind, what may go and why the rest stays."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rushlight.batch.help.command_help import HelpedCommand
from rushlight.batch.terminal.console import say, say_json, say_wrapped
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.counted import counted

if TYPE_CHECKING:
    from rushlight.batch.api.space import MayGo, SpaceFolder, SpaceResult

__all__ = ["space_command"]

Command = Callable[..., int]
PATH = click.Path(path_type=Path)
MOST = 200  # lines of what may go; --json has all
WORDS = {
    "revisions": "superseded revisions",
    "former": "delivered, no longer counted",
    "looks": "baked looks",
    "inputs": "kept lists, grades and LUTs",
    "log": "log and records",
    "pages": "pages and tables",
    "manifests": "hash manifests",
    "work": "unfinished work (.work)",
    "other": "not ours",
}
CAUTION = "Clearing is final, and proxies are no backup: hold to the production's own rules on what is kept and for how long."


def space_command(answering: Callable[[Command], Command]) -> click.Command:
    """The command, with what main.py gives every command."""

    @click.command(cls=HelpedCommand)
    @click.argument("folders", metavar="DIR...", type=PATH, nargs=-1, required=True)
    @click.option(
        "--keep-revisions",
        type=click.IntRange(0),
        metavar="N",
        help="Keep the N newest superseded revisions of each clip and output.  [default: 2, or as the day says]",
    )
    @click.option(
        "--older-than",
        type=click.IntRange(1),
        metavar="DAYS",
        help="Only what was replaced more than DAYS ago; also what clips finished so long ago left in .work.  [default: any age]",
    )
    @click.option("--remove", is_flag=True, help="Clear what may go. Without it nothing is changed.")
    @click.option("--json", "as_json", is_flag=True, help="Everything, as one JSON document.")
    @answering
    def space(
        folders: tuple[Path, ...],
        keep_revisions: int | None,
        older_than: int | None,
        remove: bool,
        as_json: bool,
    ) -> int:
        """Show what output folders hold, to the byte, and what may go by policy; clear that with --remove.

        Only superseded revisions may go, and with --older-than what finished clips left in .work: no current file, nothing that a closed delivery names, nothing
        that is not ours, nothing outside. What goes is written into log/cleared.jsonl first.

        Exit codes: 0 all well; 1 something could not be read or cleared; 2 the request is wrong, or a night runs there.
        """
        from rushlight.batch.api.space import space as look

        found = look(folders, keep_revisions=keep_revisions, older_than=older_than, remove=remove)
        if as_json:
            say_json(found.document())
        else:
            _print(found, remove=remove)
        return found.code

    return space


def _print(found: SpaceResult, *, remove: bool) -> None:
    if len(found.folders) > 1:
        _print_folders(found)
    _print_kinds(found)
    for folder in found.folders:
        _print_folder(folder, several=len(found.folders) > 1)
    _print_end(found, remove=remove)


def _print_folders(found: SpaceResult) -> None:
    """A line a folder, by its name below the folder that they all lie in."""
    common = Path(os.path.commonpath([Path(folder.folder).parent for folder in found.folders]))
    rows = [
        [
            str(Path(folder.folder).relative_to(common)),
            *_numbers(folder.files, folder.bytes, folder.disk, _sum(folder.may_go)),
        ]
        for folder in found.folders
    ]
    rows.append(["together", *_numbers(found.files, found.bytes, found.disk, _sum(found.may_go))])
    say(f"in {common}:")
    _print_table(["folder", "files", "bytes", "on disk", "may go"], rows)
    say()


def _print_kinds(found: SpaceResult) -> None:
    """What all folders hold together, by kind."""
    sums: dict[tuple[str, str], list[int]] = {}
    for folder in found.folders:
        for each in folder.holds:
            of = sums.setdefault((each.kind, each.output), [0, 0, 0])
            of[:] = [of[0] + each.files, of[1] + each.bytes, of[2] + each.disk]
    ranked = sorted(sums.items(), key=lambda pair: (_rank(pair[0][0]), pair[0][1]))
    rows = [[_word(kind, output), *_numbers(*of)] for (kind, output), of in ranked]
    rows.append(["together", *_numbers(found.files, found.bytes, found.disk)])
    _print_table(["what", "files", "bytes", "on disk"], rows)
    if found.disk < sum(folder.disk for folder in found.folders):
        say_wrapped("on the disk a file with names in several of the folders counts once, in `together`")


def _print_table(heading: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table with its numbers, all columns but the first, to the right."""
    widths = [max(len(row[k]) for row in (heading, *rows)) for k in range(len(heading))]
    first, *others = [
        [row[0], *(cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True))]
        for row in (heading, *rows)
    ]
    print_table(first, others)


def _rank(kind: str) -> int:
    return [*WORDS].index(kind) if kind in WORDS else -1


def _word(kind: str, output: str) -> str:
    return WORDS.get(kind, output)


def _print_folder(folder: SpaceFolder, *, several: bool) -> None:
    name = f"{folder.folder}: " if several else ""
    if folder.delivery:
        say_wrapped(f"{name}is the closed delivery {folder.delivery}; nothing of it may go")
    for delivery in folder.handed_over:
        sums = f"{counted(delivery.files, 'file')}, {_bytes(delivery.bytes)}"
        say_wrapped(f"{name}handed over in {delivery.folder}: {sums}; nothing of that may go")
    if folder.links:
        say_wrapped(f"{name}{counted(folder.links, 'link')} and the like, not followed and not counted")
    for text in (*folder.unread, *folder.notes):
        say_wrapped(f"note: {text}")
    for before in folder.cleared_before:
        sums = f"{counted(before.files, 'file')}, {_bytes(before.bytes)}"
        say_wrapped(
            f"{name}cleared on {before.day} by rule ({before.rule}): {sums}; log/cleared.jsonl names each"
        )
    for each in folder.cleared[:MOST]:
        say_wrapped(_line("cleared", folder, each, several=several))
    for each in folder.may_go[:MOST]:
        say_wrapped(_line("may go", folder, each, several=several))
    if more := max(0, len(folder.cleared) - MOST) + max(0, len(folder.may_go) - MOST):
        say(f"... and {more} more: --json has all")
    for kept in folder.stays:
        say_wrapped(f"stays  {name}{counted(kept.files, 'file')}, {_bytes(kept.bytes)}: {kept.why}")


def _line(word: str, folder: SpaceFolder, each: MayGo, *, several: bool) -> str:
    place = f"{folder.folder}/{each.path}" if several else each.path
    if each.kind == "work":
        what = f"{counted(each.files, 'file')} left by {each.clip}, finished {each.replaced[:10]}"
    else:
        what = f"replaced {each.replaced[:10] or 'nobody knows when'}"
    return f"{word}  {place}: {_bytes(each.bytes)}, {what}"


def _print_end(found: SpaceResult, *, remove: bool) -> None:
    rules = "; ".join(dict.fromkeys(folder.policy.rule for folder in found.folders))
    if remove:
        gone = found.cleared
        say_wrapped(
            f"cleared {counted(_files(gone), 'file')}, {_bytes(_sum(gone))}, by rule ({rules}); each is in log/cleared.jsonl of its folder"
            if gone
            else f"nothing was cleared: nothing may go by rule ({rules})"
        )
    elif going := found.may_go:
        say_wrapped(
            f"{counted(_files(going), 'file')}, {_bytes(_sum(going))}, may go by rule ({rules}): that frees {_bytes(found.freed)} on the disk."
            " Nothing was changed; --remove clears it"
        )
    else:
        say_wrapped(f"nothing may go by rule ({rules})")
    say_wrapped(CAUTION)


def _sum(going: Iterable[MayGo]) -> int:
    return sum(each.bytes for each in going)


def _files(going: Iterable[MayGo]) -> int:
    return sum(each.files for each in going)


def _bytes(count: int) -> str:
    """Bytes to the last one, and in words where they are many: `12,345,678 (12.3 MB)`."""
    if count < 1_000_000:
        return f"{count:,} bytes"
    return f"{count:,} bytes ({f'{count / 1e9:.1f} GB' if count >= 1e9 else f'{count / 1e6:.1f} MB'})"


def _numbers(*counts: int) -> list[str]:
    return [f"{count:,}" for count in counts]
