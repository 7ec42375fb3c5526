"""Clips of a watched day whose media is away: gone, or being copied on to. They stay asked for, and keep their places.

A day is planned again whenever a card, a grade or a sound file comes. What an earlier reading found and this one does not
see is waited for; it is no row less, and never called lost.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from rushlight.batch.lists.row_faults import faults_of
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.model import Plan
from rushlight.batch.plan.request_ledger import Asked
from rushlight.batch.plan.twins import fingerprint

__all__ = ["is_there", "keep_places", "take_out_away"]


def keep_places(plan: Plan, earlier: Sequence[Asked]) -> tuple[Asked, ...]:
    """Give clips back the folders that an earlier reading gave them: a twin that comes later does not move what is made. Gives the
    rows whose clips have their places."""
    places: dict[str, list[Asked]] = {}
    for row in earlier:
        if row.original and row.asks:
            places.setdefault(row.original, []).append(row)
    once = Counter(fingerprint(clip) for clip in plan.clips)
    kept: dict[str, Asked] = {}
    for index, clip in enumerate(plan.clips):
        original = fingerprint(clip)
        if once[original] > 1:
            continue  # ranges of one original, or copies: told apart by their rows
        for row in places.get(original, []):
            before = replace(clip, folder=row.folder)
            if job_id(before) == row.job and row.job not in kept:
                plan.clips[index] = before
                kept[row.job] = row
                break
    return tuple(kept.values())


def take_out_away(
    plan: Plan, earlier: Sequence[Asked], away: Sequence[Path], base: Path
) -> tuple[Asked, ...]:
    """The rows of an earlier reading that still ask, though their originals are not to be seen: below a folder that is away, or
    planned before and not there now. Rows of the plan that say no more than that are taken out of it."""
    here = {(job_id(clip), fingerprint(clip)) for clip in plan.clips}
    known = {row.clip: row for row in earlier if row.asks}
    absent = {
        row.clip
        for row, error in plan.wrong
        if row.clip in known and any(fault.key == "clip" for fault in faults_of(error))
    }
    plan.wrong = [(row, error) for row, error in plan.wrong if row.clip not in absent]
    folders = [folder.absolute() for folder in away]

    def is_away(row: Asked) -> bool:
        path = (base / row.clip).absolute()
        return any(path.is_relative_to(folder) for folder in folders) or (
            bool(row.asks) and not is_there(path)
        )

    return tuple(
        row for row in earlier if (row.job, row.original) not in here and (row.clip in absent or is_away(row))
    )


def is_there(path: Path) -> bool:
    """True if an original is there: a file, a folder, or any file of a pattern."""
    with suppress(OSError):
        if "#" not in path.name:
            return path.exists()
        head, _, tail = path.name.partition("#")
        end = tail.lstrip("#")
        return any(p.name.startswith(head) and p.name.endswith(end) for p in path.parent.iterdir())
    return False
