"""Clips of one name in several lists of an output folder: other originals go to a folder of their own, so that none replaces the other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from rushlight.batch.lists.find_media import safe_name
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.request_ledger import Asking
from rushlight.pipelines.job.spec import digest_of

__all__ = ["fingerprint", "set_apart"]


def fingerprint(clip: PlannedClip) -> str:
    """Fingerprint of an original, wherever it lies: size, length, first timecode and reel."""
    facts = clip.facts
    return digest_of([facts.bytes, facts.frames, str(facts.timecode), facts.reel], 12)


def set_apart(plan: Plan, clip_list: str, others: Iterable[Asking]) -> None:
    """Give clips of a plan a folder where another list has another original in their place. The same original, there or moved since,
    keeps its place: what was read last holds."""
    taken: dict[str, tuple[str, str]] = {}
    for asking in others:
        if asking.list != clip_list:
            taken |= {r.job: (r.original, asking.name) for r in asking.rows if r.asks and not r.dropped}
    if not taken:
        return
    used = {job_id(clip) for clip in plan.clips}
    for index, clip in enumerate(plan.clips):
        original, name = taken.get(job_id(clip), ("", ""))
        if not original or original == fingerprint(clip):
            continue
        used.discard(job_id(clip))
        moved = _elsewhere(clip, taken, used)
        used.add(job_id(moved))
        plan.clips[index] = moved
        plan.warnings.append(
            f"{clip.row.place}: {name} has another original called {clip.stem}; this one goes to the folder {moved.folder}"
        )


def _elsewhere(clip: PlannedClip, taken: dict[str, tuple[str, str]], used: set[str]) -> PlannedClip:
    time = str(clip.timecode).replace(":", ".").replace(";", ".")
    card = clip.reel or clip.path.parent.name
    names: Sequence[str] = (clip.reel, clip.path.parent.name, f"{card}-{time}", f"{card}-{fingerprint(clip)}")
    found = clip
    for name in filter(None, names):
        found = replace(clip, folder=safe_name(name))
        job = job_id(found)
        if job not in used and taken.get(job, (fingerprint(clip), ""))[0] == fingerprint(clip):
            break
    return found
