"""Revisions, outputs that newer ones replaced: kept under `revisions/N/`, or removed; never mixed with the
new.

N is the clip's revision that they were made in, counted from 1. The old files are linked there before the new ones
take their names, so that no name is ever without a whole file; old names that nothing takes again are cleared after.
Doing either twice is as doing it once: a night may be killed in between.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from rushlight.batch.job_log import merged
from rushlight.batch.plan.jobs import still_there
from rushlight.batch.records.queue_row import TurnOrders
from rushlight.pipelines.errors import OutsideError, from_os
from rushlight.pipelines.inside_folder import holding, is_file, link, move, unlink_as

__all__ = ["FOLDER", "cause", "clear", "describe", "joined", "keep", "replaced", "unkeep"]

FOLDER = "revisions"
Entry = Mapping[str, Any]


def replaced(before: Mapping[str, Any] | None, outputs: Iterable[Mapping[str, Any]]) -> list[Entry]:
    """The entries of the record before that new outputs (as a job has them) stand in for, under another identity."""
    new = {output["output"]: output["identity"] for output in outputs}
    old = (before or {}).get("outputs", ())
    return [e for e in old if e["output"] in new and e["identity"] != new[e["output"]]]


def _place(entry: Entry) -> str:
    return f"{FOLDER}/{entry.get('revision', 1)}/{entry['path']}"


def keep(out: Path, entries: Iterable[Entry]) -> None:
    """Put old files, those that are as their record has them, under their revision as well."""
    for entry in entries:
        place = _place(entry)
        if is_file(out, place) or not still_there(out, entry):
            continue
        try:
            link(out, entry["path"], place)
        except OSError as error:
            raise from_os(error, out / place) from None


def unkeep(out: Path, entries: Iterable[Entry]) -> None:
    """Undo `keep`: the new ones failed, and the old stay where they are."""
    for entry in entries:
        place = _place(entry)
        with suppress(OSError, OutsideError):
            if still_there(out, entry):
                _unlink(out, place, entry)
            elif not is_file(out, entry["path"]):
                move(out, place, entry["path"])
            while "/" in place:
                place = place.rpartition("/")[0]
                with holding(out, place) as (above, folder):
                    os.rmdir(folder, dir_fd=above)


def clear(out: Path, entries: Iterable[Entry], new: Iterable[Entry]) -> None:
    """Take away old names that the new files did not take over."""
    taken = {entry["path"] for entry in new}
    for entry in entries:
        if entry["path"] not in taken:
            with suppress(OSError, OutsideError):
                _unlink(out, entry["path"], entry)


def _unlink(out: Path, name: str, entry: Entry) -> None:
    """Take a file away that is as its record has it; what somebody changed or put there since is left."""
    unlink_as(out, name, size=entry["bytes"], mtime_ns=entry["mtime_ns"])


def _same_picture(before: Mapping[str, Any], record: Mapping[str, Any]) -> str:
    """Why two records are not of the same picture; empty where original, range and look are alike."""
    old, new = before.get("source", {}), record.get("source", {})
    if old.get("sampled") != new.get("sampled"):
        return "another original"
    place = ("first_frame", "frames", "first_timecode", "rate", "reel")
    if any(before.get(k) != record.get(k) for k in place):
        return "another range, timecode, rate or reel"
    looks = [(r.get("look") or {}) for r in (before, record)]
    if looks[0].get("digest") != looks[1].get("digest"):
        return f"another look: {looks[1].get('description', '')}; before: {looks[0].get('description', '')}"
    return ""


def cause(before: Mapping[str, Any], record: Mapping[str, Any]) -> str:
    """Cause of a revision, what differs between two records of a clip, in words: the first of original,
    range, look, recipe, burn-in."""
    if why := _same_picture(before, record):
        return why
    if (before.get("recipe") or {}).get("digest") != (record.get("recipe") or {}).get("digest"):
        return "another recipe"
    return "other values in what is burned in"


def describe(
    out: Path,
    record: dict[str, Any],
    before: Mapping[str, Any] | None,
    entries: Iterable[Entry],
    orders: TurnOrders,
) -> None:
    """Write into a new record its revision, and each file that was replaced, with the reason and where it is now.

    A later turn of a clip goes on with the revision of those before.
    """
    before, entries = before or {}, list(entries)
    number = max([int(before.get("revision", 1)), *(int(e.get("revision", 1)) + 1 for e in entries)])
    record["revision"] = number
    for entry in record["outputs"]:
        entry["revision"] = number
    earlier = list(before.get("replaced", ())) if orders.earlier_outputs else []
    why = earlier[0]["why"] if earlier else cause(before, record)
    kept = orders.replaced == "keep"
    said = [
        {
            "output": e["output"],
            "path": e["path"],
            "revision": e.get("revision", 1),
            "kept": _place(e) if kept and is_file(out, _place(e)) else "",  # a damaged one is not
            "hash": e.get("hash", ""),
            "why": why,
        }
        for e in entries
    ]
    if earlier or said:
        record["replaced"] = earlier + said


def joined(record: dict[str, Any], before: Mapping[str, Any] | None, orders: TurnOrders) -> dict[str, Any]:
    """A new record with what still holds of the one before; files that it no longer counts are a warning."""
    record = merged(record, before, _kept_outputs(record, before, orders))
    counted = {e["output"] for e in record["outputs"]}
    left = [e["path"] for e in (before or {}).get("outputs", ()) if e["output"] not in counted]
    if before and left:
        record["warnings"] = [
            *record.get("warnings", ()),
            f"no longer counted here: {', '.join(left)} ({_same_picture(before, record)}); nothing was removed, but"
            " one --out for each look keeps them in a report",
        ]
    return record


def _kept_outputs(
    record: Mapping[str, Any], before: Mapping[str, Any] | None, orders: TurnOrders
) -> set[str]:
    """Outputs of the record before that hold beside the new ones: those found unchanged, those still to be replaced,
    and, of the same picture, those of other recipes."""
    keep = {*orders.kept_outputs, *orders.earlier_outputs, *orders.later_outputs}
    if before and not _same_picture(before, record):
        keep |= {e["output"] for e in before.get("outputs", ())}
    return keep - {e["output"] for e in record["outputs"]}
