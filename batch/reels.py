"""Doubts about reels, for a person to look at: timecode that overlaps within one reel, names that say another reel."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from rushlight.batch.plan import reel_of_name

if TYPE_CHECKING:
    from rushlight.batch.plan import PlannedClip

__all__ = ["reel_doubts"]


def reel_doubts(clips: Sequence[PlannedClip]) -> list[str]:
    """A sentence for each original whose file name states another reel than is used, and for each whose timecode begins
    before another original of its reel has ended. Clips without timecode, and other rates, are not compared."""
    found = []
    reels: dict[tuple[object, ...], dict[object, PlannedClip]] = defaultdict(dict)
    for clip in clips:
        named = reel_of_name(clip.stem)
        if named and clip.reel and named.lower() != clip.reel.lower():
            found.append(f"{clip.row.clip}: its reel is {clip.reel}, its file name says {named}")
        if clip.reel and (clip.facts.timecode_from != "none" or clip.row["timecode"]):
            reels[clip.reel.lower(), clip.rate, clip.timecode.drop].setdefault(clip.path, clip)
    for group in reels.values():
        runs = sorted(
            ((c.timecode.frames - c.first, c) for c in group.values()), key=lambda r: (r[0], str(r[1].path))
        )
        for (start, one), (after, other) in pairwise(runs):
            if after < start + one.facts.frames:
                found.append(
                    f"reel {one.reel}: {one.row.clip} and {other.row.clip} overlap in timecode by "
                    f"{start + one.facts.frames - after} frame(s)"
                )
    return found
