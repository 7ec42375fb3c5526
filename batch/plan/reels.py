"""The reel of a clip, and doubts about reels, for a person to look at.

Timecode that overlaps within one reel, names that say another reel, and files that may be one clip.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from rushlight.batch.lists.clip_list import Row
from rushlight.batch.lists.recording_dates import row_date
from rushlight.batch.plan.model import PlannedClip, stem_of
from rushlight.pipelines.counted import counted
from rushlight.pipelines.originals.probe import Facts

__all__ = ["reel_doubts", "reel_of", "reel_of_name", "runs_on"]


def reel_doubts(clips: Sequence[PlannedClip]) -> list[str]:
    """A sentence for each original whose file name states another reel than is used, and for each whose timecode begins
    before another original of its reel has ended. Clips without timecode, and other rates and dates, are not compared."""
    found = []
    reels: dict[tuple[object, ...], dict[object, PlannedClip]] = defaultdict(dict)
    for clip in clips:
        named = reel_of_name(clip.stem)
        if named and clip.reel and named.lower() != clip.reel.lower():
            found.append(f"{clip.row.clip}: its reel is {clip.reel}, its file name says {named}")
        if clip.reel and (clip.facts.timecode_from != "none" or clip.row["timecode"]):
            key = (clip.reel.lower(), clip.rate, clip.timecode.drop, row_date(clip.row))
            reels[key].setdefault(clip.path, clip)
    for group in reels.values():
        runs = sorted(
            ((c.timecode.frames - c.first, c) for c in group.values()), key=lambda r: (r[0], str(r[1].path))
        )
        longest, end = runs[0][1], runs[0][0] + runs[0][1].facts.frames
        for start, clip in runs[1:]:
            if start < end:
                found.append(
                    f"reel {clip.reel}: {longest.row.clip} and {clip.row.clip} overlap in timecode by "
                    f"{counted(min(end, start + clip.facts.frames) - start, 'frame')}"
                )
            if start + clip.facts.frames > end:
                longest, end = clip, start + clip.facts.frames
    return found


def runs_on(clips: Sequence[PlannedClip]) -> list[str]:
    """A sentence for each run of files numbered on, `name_001.mov` and after, whose timecode runs on as well.

    They may be one clip in several files, or takes of a camera that counts only while it records: a person has to say.
    """
    numbered: dict[tuple[object, str], dict[int, PlannedClip]] = defaultdict(dict)
    for clip in clips:
        match = re.fullmatch(r"(.*[_-])(\d{1,4})", clip.path.stem)
        if match and clip.facts.kind == "movie" and clip.facts.timecode_from != "none":
            pattern = f"{match[1]}{'#' * len(match[2])}{clip.path.suffix}"
            numbered[clip.path.parent, pattern][int(match[2])] = clip
    found = []
    for (_, pattern), group in numbered.items():
        runs: list[list[PlannedClip]] = [[group[min(group)]]]
        for before, number in pairwise(sorted(group)):
            one, other = group[before].facts, group[number].facts
            if number == before + 1 and one.timecode + one.frames == other.timecode:
                runs[-1].append(group[number])
            else:
                runs.append([group[number]])
        found += [
            f"{run[0].row.clip} to {run[-1].path.name} run on in timecode; if they are one clip, a row {pattern} joins them"
            for run in runs
            if len(run) > 1
        ]
    return found


_CAMERA_NAME = re.compile(
    r"([A-Za-z]\d{3,4})_?C\d{3,4}(?![0-9])"
)  # A001C003, A001_C003: common practice, no source


def reel_of(row: Row, path: Path, facts: Facts) -> str:
    """A clip's reel: the row's, else the container's, else that of a camera-style file name."""
    return row["reel"] or facts.reel or reel_of_name(stem_of(path, facts))


def reel_of_name(stem: str) -> str:
    """The reel that a camera-style file name states, or nothing."""
    match = _CAMERA_NAME.match(stem)
    return match[1].upper() if match else ""
