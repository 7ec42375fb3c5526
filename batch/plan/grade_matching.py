"""Match a row's clip with the decisions, the change record and the originals of one name.

A header's date only breaks a tie, since a copy may state the day it was made; a row's own date is held to.
"""

from __future__ import annotations

import stat
from dataclasses import dataclass, replace
from pathlib import Path

from rushlight.batch.decisions.decision import NONE, Decision, Later
from rushlight.batch.decisions.grade_changes import ChangeRecord, Rolled
from rushlight.batch.decisions.grade_lookup import GradeBook, Wanted
from rushlight.batch.lists.camera_columns import Camera, camera_letter
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.lists.recording_dates import header_date, row_date
from rushlight.batch.plan.in_out import frame_range
from rushlight.batch.plan.model import Plan, PlannedClip, stem_of
from rushlight.batch.plan.reels import reel_of
from rushlight.pipelines.errors import GradeError, RushlightError, SourceError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.probe import probe

__all__ = ["Headers", "Matcher", "set_aside_shared"]


class Headers:
    """Headers of originals, each read once, failures too."""

    def __init__(self) -> None:
        self._known: dict[tuple[Path, str], Facts | RushlightError] = {}

    def of(self, path: Path, rate: FrameRate | None, files: tuple[Path, ...] = ()) -> Facts:
        """The facts of an original; `files` are those of a clip in several. SourceError where it does not open."""
        key = (path, str(rate or ""))
        if key not in self._known:
            try:
                if _is_device(path):
                    raise SourceError("is a pipe or a device, not a file", file=str(path))
                self._known[key] = probe(path, rate=rate, files=files)
            except RushlightError as error:
                self._known[key] = error
        found = self._known[key]
        if isinstance(found, RushlightError):
            raise found
        return found


def _is_device(path: Path) -> bool:
    """True of a pipe, a socket or a device."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


@dataclass(frozen=True, kw_only=True)
class Matcher:
    """Decisions by name, place and scene, the change record between them, and what stands in for neither."""

    headers: Headers
    book: GradeBook
    record: ChangeRecord
    default: Decision | None = None
    utc_offset: int | None = None  # seconds, of the cameras' timecode

    def decision(self, row: Row, path: Path, facts: Facts, camera: Camera) -> Decision:
        """The decision for a row that states none; where the change record has only later ones, those beside it."""
        later: list[Later] = []

        def held() -> Decision | None:
            clip = self._rolled(row, path, facts, camera) if self.record else None
            decision = self.record.decision(clip) if clip else None
            if clip and not decision:
                later.extend(self.record.later(clip))
            return decision

        found = self.book.decision(self._wanted(row, path, facts), held) or self.default or NONE
        return replace(found, later=tuple(later)) if later else found

    def told_apart(self, row: Row, found: list[Path]) -> list[Path]:
        """Of originals of one name, those whose reel, folder or timecode the row states; all of them where it states none.

        Where several are left, those of the row's date by their headers, if any is.
        """
        reel, first = row["reel"].lower(), row["timecode"] or row["in"]
        told = ":" in first
        date = row_date(row)
        kept, dated = [], []
        for path in found:
            try:
                facts = self.headers.of(path, FrameRate.parse(row["rate"]) if row["rate"] else None)
                if (
                    reel
                    and facts.reel.lower() != reel
                    and not any(_of_reel(p, reel) for p in path.parts[:-1])
                ):
                    continue
                if told:
                    into = facts.timecode.until(Timecode.parse(first, facts.rate))
                    if into >= (1 if row["timecode"] else facts.frames):
                        continue
                if date and header_date(facts, self.utc_offset) == date:
                    dated.append(path)
            except RushlightError:  # it does not open, or counts otherwise
                if reel or told:
                    continue
            kept.append(path)
        return dated or kept

    def _rolled(self, row: Row, path: Path, facts: Facts, camera: Camera) -> Rolled | None:
        """Recording time of a row's original, which needs a date: in column `date` or `day`, or in a header
        whose zone the recipe states. None where it has no timecode."""
        if not row["timecode"] and facts.timecode_from == "none":
            return None
        date = row_date(row)
        if date is None:
            made = header_date(facts, self.utc_offset)
            text = row["date"] or row["day"]
            if text or made is None or self.utc_offset is None:
                hint = f" (its header says {made}, in UTC)" if made else ""
                raise GradeError(
                    f"{text!r} is no date; the change record needs each clip's, such as 2026-05-04{hint}",
                    key="date",
                )
            date = made
        return Rolled(
            start=_start(row, facts),
            date=date,
            frames=facts.frames,
            camera=camera_letter(row["camera"], reel_of(row, path, facts)),
            ahead=camera.clock_offset,
        )

    def _wanted(self, row: Row, path: Path, facts: Facts) -> Wanted:
        start = _start(row, facts)
        first, count, _ = frame_range(row["in"], row["out"], start=start, frames=facts.frames)
        return Wanted(
            names=(row.clip, stem_of(path, facts)),
            reel=reel_of(row, path, facts),
            start=start if row["timecode"] or facts.timecode_from != "none" else None,
            frames=facts.frames,
            first=first,
            count=count,
            date=row_date(row),
            made=header_date(facts, self.utc_offset),
            scene=row["scene"],
            take=row["take"],
        )


def _of_reel(folder: str, reel: str) -> bool:
    """True if a folder is called by a reel: `A001`, `A001_card`, `A001R2EC`; not `A0012`."""
    after = folder.lower().removeprefix(reel)
    if len(after) == len(folder):
        return False
    return not after or not (after[0].isdigit() if reel[-1].isdigit() else after[0].isalnum())


def _start(row: Row, facts: Facts) -> Timecode:
    return Timecode.parse(row["timecode"], facts.rate) if row["timecode"] else facts.timecode


def set_aside_shared(plan: Plan, utc_offset: int | None) -> None:
    """Set aside the clips that one decision fits by name or place: it was made for one of them, and which is not known,
    unless it is dated and one clip alone is of that date."""
    by_source: dict[str, list[PlannedClip]] = {}
    for clip in plan.clips:
        if clip.decision.for_one_clip:
            by_source.setdefault(clip.decision.source, []).append(clip)
    gone: set[int] = set()
    for source, clips in by_source.items():
        if len({c.path for c in clips}) < 2:
            continue
        date = clips[0].decision.date
        dated = [c for c in clips if date and (row_date(c.row) or header_date(c.facts, utc_offset)) == date]
        if len({c.path for c in dated}) == 1:
            clips = [c for c in clips if c not in dated]
        for clip in clips:
            others = ", ".join(dict.fromkeys(str(c.path) for c in by_source[source] if c.path != clip.path))
            text = f"the decision {source} fits this clip and {others}; say reel, date and timecode, or name it in the row"
            plan.wrong.append((clip.row, GradeError(text, file=clip.row.file, line=clip.row.line, key="cdl")))
            gone.add(id(clip))
    plan.clips = [clip for clip in plan.clips if id(clip) not in gone]
