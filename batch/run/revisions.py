"""Revisions, outputs that newer ones replaced: kept under `revisions/N/`, or removed; never mixed with the
new.

N is the clip's revision that they were made in, counted from 1, or the first after it at which nothing is kept of the name. The old files are linked there before the new ones
take their names, so that no name is ever without a whole file; old names that nothing takes again are cleared after.
Doing either twice is as doing it once: a night may be killed in between.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from rushlight.batch.kept_revisions import free_place, kept_place, linked_place
from rushlight.batch.records.files import Output
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord, RecipeName, Replaced
from rushlight.batch.records.look import SomeLook
from rushlight.batch.records.merged import merged
from rushlight.batch.records.original import Source
from rushlight.batch.records.queue_row import QueuedOutput, TurnOrders
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.errors import OutsideError, from_os
from rushlight.pipelines.inside_folder import drop_empty, is_file, link, move, unlink_as
from rushlight.pipelines.portable_name import same_name

__all__ = ["cause", "clear", "described", "drop", "joined", "keep", "replaced", "unkeep"]


def replaced(before: JobRecord | None, outputs: Iterable[QueuedOutput]) -> list[Output]:
    """The entries of the record before that new outputs (as a job has them) stand in for, under another identity."""
    new = {output.output: output.identity for output in outputs}
    return [e for e in before.outputs if e.identity != new.get(e.output, e.identity)] if before else []


def keep(out: Path, entries: Iterable[Output]) -> None:
    """Put old files, those that are as their record has them, under their revision as well."""
    for entry in entries:
        if not still_there(out, entry) or linked_place(out, entry.path):
            continue
        place = free_place(out, entry.path, entry.revision)
        try:
            link(out, entry.path, place)
        except OSError as error:
            raise from_os(error, out / place) from None


def unkeep(out: Path, entries: Iterable[Output]) -> None:
    """Undo `keep`: the new ones failed, and the old stay where they are."""
    for entry in entries:
        place = kept_place(out, entry)
        if not place:
            continue
        with suppress(OSError, OutsideError):
            if still_there(out, entry):
                _unlink(out, place, entry)
            elif not is_file(out, entry.path):
                move(out, place, entry.path)
            drop_empty(out, place, keep=0)


def drop(out: Path, entries: Iterable[Output]) -> None:
    """Take away what `keep` kept: the new ones have their names, and the old are to be removed."""
    for entry in entries:
        with suppress(OSError, OutsideError):
            if place := kept_place(out, entry):
                _unlink(out, place, entry)
                drop_empty(out, place, keep=0)


def clear(out: Path, entries: Iterable[Output], new: Iterable[Output]) -> None:
    """Take away old names that the new files did not take over: where a disk takes two names for one, the old one is the new file's."""
    taken: dict[str, list[str]] = {}
    for each in new:
        taken.setdefault(same_name(each.path), []).append(each.path)
    for entry in entries:
        if not any(_is_one(out, entry.path, path) for path in taken.get(same_name(entry.path), ())):
            with suppress(OSError, OutsideError):
                _unlink(out, entry.path, entry)
                drop_empty(out, entry.path, keep=1)


def _is_one(out: Path, old: str, new: str) -> bool:
    """True if two names are one file's here; a name that leads nowhere is none."""
    if old == new:
        return True
    with suppress(OSError):
        return os.path.samefile(out / old, out / new)
    return False


def _unlink(out: Path, name: str, entry: Output) -> None:
    """Take a file away that is as its record has it; what somebody changed or put there since is left."""
    unlink_as(out, name, size=entry.bytes, mtime_ns=entry.mtime_ns)


def _same_picture(before: JobRecord, record: JobRecord) -> str:
    """Why two records are not of the same picture; empty where original, range and look are alike."""
    old, new = (each.source or Source() for each in (before, record))
    if new.mended and old.mended != new.mended:
        return "another copy of the original, in which damaged frames can be read"
    if old.sampled != new.sampled:
        return "another original"
    one, other = (
        (each.first_frame, each.frames, each.first_timecode, each.rate, each.reel)
        for each in (before, record)
    )
    if one != other:
        return "another range, timecode, rate or reel"
    was, now = (each.look or SomeLook() for each in (before, record))
    if was.digest != now.digest:
        return f"another look: {now.description}; before: {was.description}"
    for name, look in record.looks.items():
        earlier = before.looks.get(name, look)
        if earlier.digest != look.digest:
            return f"another look {name!r}: {look.description}; before: {earlier.description}"
    return ""


def cause(before: JobRecord, record: JobRecord) -> str:
    """Cause of a revision, what differs between two records of a clip, in words: the first of original,
    range, look, recipe, burn-in."""
    if why := _same_picture(before, record):
        return why
    if before.sound != record.sound:
        return "other sound"
    was, now = (each.recipe or RecipeName() for each in (before, record))
    if was.digest != now.digest:
        return "another recipe"
    return "other values in what is burned in"


def described(
    out: Path,
    record: DeliveredRecord,
    before: JobRecord | None,
    entries: Iterable[Output],
    orders: TurnOrders,
) -> DeliveredRecord:
    """A new record with its revision, and each file that was replaced, with the reason and where it is now.

    A later turn of a clip goes on with the revision of those before.
    """
    entries = list(entries)
    number = max([before.revision if before else 1, *(entry.revision + 1 for entry in entries)])
    earlier = before.replaced if before and orders.earlier_outputs else []
    why = earlier[0].why if earlier else cause(before, record) if before else ""
    said = [
        Replaced(
            output=entry.output,
            path=entry.path,
            revision=entry.revision,
            kept=kept_place(out, entry)
            if orders.replaced == "keep"
            else "",  # a damaged one is not that file
            hash=entry.hash,
            why=why,
            bytes=entry.bytes,
            mtime_ns=entry.mtime_ns,
        )
        for entry in entries
    ]
    outputs = [entry.model_copy(update={"revision": number}) for entry in record.outputs]
    update: dict[str, object] = {"revision": number, "outputs": outputs}
    if told := [*(earlier or _given_away(before)), *said]:
        update["replaced"] = told
    return record.model_copy(update=update)


def _given_away(before: JobRecord | None) -> list[Replaced]:
    """Files that were put by before their new ones were made, since their names went to other clips'."""
    made = {entry.output for entry in before.outputs} if before else set()
    return [each for each in before.replaced if each.output not in made] if before else []


def joined(record: DeliveredRecord, before: JobRecord | None, orders: TurnOrders) -> DeliveredRecord:
    """A new record with what still holds of the one before; files that it no longer counts are a warning."""
    record = merged(record, before, _kept_outputs(record, before, orders), orders.later_outputs)
    counted = {entry.output for entry in record.outputs}
    left = [entry.path for entry in before.outputs if entry.output not in counted] if before else []
    if before and left:
        text = (
            f"no longer counted here: {', '.join(left)} ({_same_picture(before, record)}); nothing was removed."
            " Give each look an --out of its own to keep them in a report"
        )
        return record.model_copy(update={"warnings": [*record.warnings, text]})
    return record


def _kept_outputs(record: JobRecord, before: JobRecord | None, orders: TurnOrders) -> set[str]:
    """Outputs of the record before that hold beside the new ones: those found unchanged, those still to be replaced,
    and, of the same picture, those of other recipes."""
    keep = {*orders.kept_outputs, *orders.earlier_outputs, *orders.later_outputs}
    if before and not _same_picture(before, record):
        keep |= {entry.output for entry in before.outputs}
    return keep - {entry.output for entry in record.outputs}
