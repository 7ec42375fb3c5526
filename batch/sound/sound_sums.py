"""Sound files of a plan, each counted once: used, not used with the reason, or not readable."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rushlight.batch.sound.sound_folders import SoundFolders
from rushlight.batch.sound.take_matching import FAR, Chosen
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.sound.placing import Shown, fit
from rushlight.pipelines.sound.take import Take

__all__ = ["SoundSums", "Sounded", "sound_sums"]

DAY = 86400.0  # seconds


@dataclass(frozen=True, kw_only=True)
class Sounded:
    """A clip of the plan whose sound is decided."""

    clip: str
    shown: Shown
    sound: Chosen


@dataclass(frozen=True, kw_only=True)
class SoundSums:
    """Sound files under the sound folders: found = used + not used + not readable. Each of the last two with the reason."""

    found: int
    used: int
    not_used: tuple[tuple[Path, str], ...]
    unreadable: tuple[tuple[Path, str], ...]


def sound_sums(media: SoundFolders, clips: Sequence[Sounded]) -> SoundSums | None:
    """The sums of a plan; None where no sound folder was given."""
    if not media.folders:
        return None
    used = {r.path for clip in clips if clip.sound.take for r in clip.sound.take.files}
    day = _Day(clips)
    not_used: list[tuple[Path, str]] = []
    for take in media.takes:
        left = [recording.path for recording in take.files if recording.path not in used]
        if left:
            why = _why(take, day)
            not_used += [(path, why) for path in left]
    not_used += [(path, f"a copy of {other}") for path, other in media.copies]
    return SoundSums(found=media.found, used=len(used), not_used=tuple(not_used), unreadable=media.unreadable)


def _why(take: Take, day: _Day) -> str:
    first = take.first
    if first.time_reference is None:
        return "no time reference"
    if first.wild or first.false_start:
        return "wild track" if first.wild else "false start"
    clip = day.under(take)
    if clip is None:
        return "no planned clip is of its time"
    other = f"has {clip.sound.take.name}" if clip.sound.take else clip.sound.reason
    return f"{clip.clip}, which is of its time: {other}"


class _Day:
    """Clips by the second of the day at which they begin, to be found without looking at all of them."""

    def __init__(self, clips: Sequence[Sounded]) -> None:
        shown = [(_by_label(clip.shown), clip) for clip in clips]
        self.clips = sorted(
            ((_begins(place), place, clip) for place, clip in shown), key=lambda each: each[0]
        )
        self.starts = [begins for begins, _, _ in self.clips]
        self.longest = max((place.frames / float(place.shot) for _, place, _ in self.clips), default=0.0)

    def under(self, take: Take) -> Sounded | None:
        """The first clip of the day under which a take lies."""
        first = take.first
        assert first.time_reference is not None
        begins = first.time_reference / float(first.clock.stamp_rate) % DAY
        low, high = begins - self.longest - FAR, begins + take.samples / first.sample_rate + FAR
        for turn in (-DAY, 0.0, DAY):
            for at in range(bisect_left(self.starts, low + turn), bisect_right(self.starts, high + turn)):
                _, place, clip = self.clips[at]
                placed = fit(take, place)
                if placed and placed.overlap:
                    return clip
        return None


def _by_label(shown: Shown) -> Shown:
    """A clip where its timecode says it is: one of high speed counts its frames otherwise, and has no sound by rule."""
    rate = shown.timecode.rate
    if FrameRate(fraction=shown.shot).nominal == rate.nominal:
        return shown
    return replace(shown, shot=rate.fraction, delivered=rate.fraction)


def _begins(shown: Shown) -> float:
    return float(shown.timecode.frames / shown.timecode.rate.nominal)
