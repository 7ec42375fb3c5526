"""The day by scene, as the report's page shows it: delivered clips on the day's line, and those that were not delivered."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from rushlight.batch.lists.clip_list import is_yes
from rushlight.batch.plan.request_ledger import Day
from rushlight.batch.records.job_record import ClipRecord
from rushlight.batch.report.needs import missing_of
from rushlight.batch.report.next_step import next_step
from rushlight.batch.report.page_clip import PageClip, rate_of
from rushlight.batch.report.page_pictures import anchor_of

__all__ = ["LostClip", "PageScene", "lost_clip", "scenes_of", "spanned"]


@dataclass(frozen=True, kw_only=True)
class LostClip:
    """A clip that failed or was set aside, as its row has it, with why and what to do."""

    anchor: str
    name: str
    scene: str
    take: str
    circled: bool
    camera_letter: str
    status: str
    error: str
    step: str  # what to do, where the problem does not say it


@dataclass(frozen=True, kw_only=True)
class PageScene:
    """Clips of one scene."""

    title: str
    takes: Sequence[PageClip]
    lost: Sequence[LostClip]


def lost_clip(record: ClipRecord, day: Day) -> LostClip:
    row, missing = record.row or {}, missing_of(record, day)
    return LostClip(
        anchor=anchor_of(record),
        name=record.clip,
        scene=row.get("scene", ""),
        take=row.get("take", ""),
        circled=is_yes(row.get("circled", "")),
        camera_letter=row.get("camera", ""),
        status=record.status,
        error=missing.text if missing else record.error,
        step=missing.step if missing else next_step(f"{record.status}: {record.error}"),
    )


def scenes_of(clips: Iterable[PageClip], lost: Iterable[LostClip]) -> list[PageScene]:
    """Scenes by the time of their first clip, those of which nothing was delivered last; clips by time, lost ones by name."""
    takes: dict[str, list[PageClip]] = defaultdict(list)
    for clip in sorted(clips, key=lambda c: (c.first, c.name)):
        takes[clip.scene].append(clip)
    without: dict[str, list[LostClip]] = defaultdict(list)
    for each in sorted(lost, key=lambda c: (c.scene, c.name)):
        without[each.scene].append(each)
    return [
        PageScene(
            title=f"Scene {scene}" if scene else "No scene stated",
            takes=takes.get(scene, ()),
            lost=without.get(scene, ()),
        )
        for scene in dict.fromkeys((*takes, *without))
    ]


def spanned(clips: Sequence[PageClip]) -> list[PageClip]:
    """Place of each clip on the day's line, in hundredths: `left` and `wide`, from its timecodes."""
    ends = [(_seconds(c.first), _seconds(c.first) + c.frames / rate_of(c.rate)) for c in clips]
    start = min((e[0] for e in ends), default=0.0)
    whole = max(max((e[1] for e in ends), default=1.0) - start, 1e-6)
    placed = []
    for clip, (first, last) in zip(clips, ends, strict=True):
        wide = round(max(100 * (last - first) / whole, 0.4), 3)
        left = round(min(100 * (first - start) / whole, 100 - wide), 3)
        placed.append(replace(clip, left=left, wide=wide))
    return placed


def _seconds(timecode: str) -> float:
    parts = [int(p) for p in re.findall(r"\d+", timecode)][:3]
    return float(sum(p * k for p, k in zip(parts, (3600, 60, 1), strict=False)))
