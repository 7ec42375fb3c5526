"""Clips of a watched day whose media is away: gone, being copied on to, or not come yet. They stay asked for, and keep their places.

A day is planned again whenever a card, a grade or a sound file comes. What an earlier reading found and this one does not
see is waited for; it is no row less, and never called lost.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from rushlight.batch.lists.clip_list import Row
from rushlight.batch.lists.row_faults import NoOriginal, faults_of
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.model import Plan
from rushlight.batch.plan.request_ledger import Asked
from rushlight.batch.plan.twins import fingerprint

__all__ = ["is_there", "keep_places", "take_out_arriving", "take_out_away", "take_out_not_come"]


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


def take_out_not_come(plan: Plan) -> tuple[Row, ...]:
    """Rows whose only fault is that their original is not there: they are taken out of those that are wrong, and waited for."""
    rows, wrong = [], []
    for row, error in plan.wrong:
        if all(isinstance(fault, NoOriginal) for fault in faults_of(error)):
            rows.append(row)
        else:
            wrong.append((row, error))
    plan.wrong = wrong
    plan.growing += rows
    return tuple(rows)


def take_out_arriving(plan: Plan, folders: Sequence[Path], ready: Sequence[Path]) -> tuple[Row, ...]:
    """Rows that name originals by their paths in folders that are still being copied: they are waited for as well. `ready` are folders in
    those that are not."""
    states = {folder.absolute(): True for folder in folders} | {folder.absolute(): False for folder in ready}

    def arrives(path: Path) -> bool:
        return next((states[above] for above in path.absolute().parents if above in states), False)

    errors = {id(error) for path, error in plan.unopened if arrives(path)}
    rows = [clip.row for clip in plan.clips if arrives(clip.path)]
    rows += [row for row, error in plan.broken if id(error) in errors]
    plan.clips = [clip for clip in plan.clips if not arrives(clip.path)]
    plan.broken = [(row, error) for row, error in plan.broken if id(error) not in errors]
    plan.unopened = [(path, error) for path, error in plan.unopened if not arrives(path)]
    plan.growing += rows
    return tuple(rows)


def is_there(path: Path) -> bool:
    """True if an original is there: a file, a folder, or any file of a pattern."""
    with suppress(OSError):
        if "#" not in path.name:
            return path.exists()
        head, _, tail = path.name.partition("#")
        end = tail.lstrip("#")
        return any(p.name.startswith(head) and p.name.endswith(end) for p in path.parent.iterdir())
    return False
