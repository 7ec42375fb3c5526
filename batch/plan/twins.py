"""Twins: clips of one name, in a list or in several lists of an output folder. Each has a place of its own, so that none replaces the
other, and the same clip twice is made once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from rushlight.batch.lists.equal_copies import twin_notes
from rushlight.batch.lists.find_media import safe_name
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.request_ledger import Asked, Asking
from rushlight.pipelines.errors import said
from rushlight.pipelines.job.spec import digest_of

__all__ = ["doubt", "fingerprint", "set_apart", "untwinned"]


def doubt(plan: Plan, check: Callable[[], list[str]]) -> None:
    """Doubts that a check over all clips raises. One that ends with a fault of our own is left out, and said:
    no clip is worse for it."""
    try:
        plan.warnings += check()
    except Exception as error:
        plan.warnings.append(
            f"a check over all clips was left out: a fault of rushlight's own: {said(error)}"
        )


def _card(clip: PlannedClip, twins: list[PlannedClip]) -> str:
    """The folder that sets a clip's path apart from its twins': the first that is not above all of them."""
    paths = [twin.path.absolute().parts[:-1] for twin in twins]
    shared = next((n for n, parts in enumerate(zip(*paths, strict=False)) if len(set(parts)) > 1), None)
    return clip.path.absolute().parts[shared] if shared is not None else ""


def _folder(clip: PlannedClip, twins: list[PlannedClip]) -> str:
    """A folder of its own for one of several twins, by the first of these names that tells them all apart; else by its row."""
    ways = (
        [t.reel for t in twins],
        [_card(t, twins) for t in twins],
        [
            f"{t.reel or t.path.parent.name}-{str(t.timecode).replace(':', '.').replace(';', '.')}"
            for t in twins
        ],
        [f"row-{t.row.line}" for t in twins],
    )
    for names in ways:
        if len({safe_name(n).casefold() for n in names if n}) == len(twins):
            break
    return safe_name(next(name for name, twin in zip(names, twins, strict=True) if twin is clip))


def untwinned(clips: list[PlannedClip], plan: Plan) -> list[PlannedClip]:
    """Every clip a place of its own: the same clip, range and grade twice is made once; twins go to a folder each."""
    distinct: dict[str, PlannedClip] = {}
    for clip in clips:
        key = digest_of([str(clip.path), clip.first, clip.count, clip.look.identity()])
        if key in distinct:
            plan.alike += 1
            plan.warnings.append(
                f"{clip.row.place}: {clip.row.clip} is in the list twice, with the same settings; it is made once"
            )
        else:
            distinct[key] = clip
    by_stem: dict[str, list[PlannedClip]] = {}
    for clip in distinct.values():
        by_stem.setdefault(safe_name(clip.stem).casefold(), []).append(clip)
    same_name = ({c.path: c.facts.files for c in twins} for twins in by_stem.values())
    twins_of = [tuple(paths.values()) for paths in same_name if len(paths) > 1]
    doubt(plan, lambda: twin_notes(twins_of))
    found: list[PlannedClip] = []
    for clip in distinct.values():
        twins = by_stem[safe_name(clip.stem).casefold()]
        if len(twins) == 1:
            found.append(clip)
            continue
        found.append(replace(clip, folder=_folder(clip, twins)))
    return found


def fingerprint(clip: PlannedClip) -> str:
    """Fingerprint of an original, wherever it lies: size, length, first timecode and reel."""
    facts = clip.facts
    return digest_of([facts.bytes, facts.frames, str(facts.timecode), facts.reel], 12)


def set_apart(plan: Plan, clip_list: str, others: Iterable[Asking], kept: Iterable[Asked] = ()) -> None:
    """Give clips of a plan a folder where another list, or a row that this one keeps, has another original in their place. The
    same original, there or moved since, keeps its place: what was read last holds."""
    taken: dict[str, tuple[str, str]] = {}
    for asking in others:
        if asking.list != clip_list:
            taken |= {r.job: (r.original, asking.name) for r in asking.rows if r.asks and not r.dropped}
    name = Path(clip_list).name
    taken |= {r.job: (r.original, name) for r in kept if r.asks and not r.dropped}
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
