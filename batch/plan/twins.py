"""Twins: clips of one name in a list. Each has a place of its own, and the same clip twice is made once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from rushlight.batch.lists.equal_copies import twin_notes
from rushlight.batch.lists.media_index import safe_name
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.pipelines.errors import said
from rushlight.pipelines.job.spec import digest_of

__all__ = ["untwinned"]


def _doubt(plan: Plan, check: Callable[[], list[str]]) -> None:
    """What a check over all clips says. One that ends with a fault of our own is left out, and said: no clip is worse for it."""
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


def untwinned(clips: list[PlannedClip], plan: Plan) -> list[PlannedClip]:
    """Every clip a place of its own: the same clip, range and grade twice is made once; twins go to a folder each."""
    distinct: dict[str, PlannedClip] = {}
    for clip in clips:
        key = digest_of([str(clip.path), clip.first, clip.count, clip.look.identity()])
        if key in distinct:
            plan.alike += 1
            plan.warnings.append(
                f"{clip.row.place}: {clip.row.clip} stands in the list twice alike; it is made once"
            )
        else:
            distinct[key] = clip
    by_stem: dict[str, list[PlannedClip]] = {}
    for clip in distinct.values():
        by_stem.setdefault(safe_name(clip.stem).casefold(), []).append(clip)
    same_name = ({c.path: c.facts.files for c in twins} for twins in by_stem.values())
    twins_of = [tuple(paths.values()) for paths in same_name if len(paths) > 1]
    _doubt(plan, lambda: twin_notes(twins_of))
    found: list[PlannedClip] = []
    for clip in distinct.values():
        twins = by_stem[safe_name(clip.stem).casefold()]
        if len(twins) == 1:
            found.append(clip)
            continue
        for name in (
            lambda c: c.reel,
            lambda c, twins=twins: _card(c, twins),
            lambda c: f"{c.reel or c.path.parent.name}-{str(c.timecode).replace(':', '.').replace(';', '.')}",
            lambda c: f"row-{c.row.line}",
        ):
            names = [safe_name(name(t)) for t in twins if name(t)]
            if len({n.casefold() for n in names}) == len(twins):
                break
        found.append(replace(clip, folder=safe_name(name(clip))))
    return found
