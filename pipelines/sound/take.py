"""Files into takes: poly files, sets of mono files, and recordings that go on in a further file.

A take is one recording, however many files it lies in, or several that a person put together. Its channels are those of its
files in the order of the recorder's tracks; of files that differ in length by some samples the shorter end in silence.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from pathlib import Path

from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.sound.ixml import Track
from rushlight.pipelines.sound.recording import Recording

__all__ = ["Take", "day_samples", "take_of", "takes_of"]


@dataclass(frozen=True, kw_only=True)
class Take:
    """`parts` follow one another by their time references; each is the files of a set, which lie beside one another."""

    parts: tuple[tuple[Recording, ...], ...]

    @property
    def first(self) -> Recording:
        """The file that speaks for the take."""
        return self.parts[0][0]

    @property
    def files(self) -> tuple[Recording, ...]:
        return tuple(recording for part in self.parts for recording in part)

    @property
    def samples(self) -> int:
        """Of each channel, over all parts and the gaps between them."""
        return sum(self.part_samples(part) for part in self.parts) + sum(self.gaps)

    @cached_property
    def gaps(self) -> tuple[int, ...]:
        """Samples of silence ahead of each part, by their time references: none where a recording goes on in a further file."""
        return (0, *(_gap(*pair) for pair in pairwise(self.parts)))

    @staticmethod
    def part_samples(part: tuple[Recording, ...]) -> int:
        return max(recording.samples for recording in part)

    @property
    def channels(self) -> int:
        return sum(recording.channels for recording in self.parts[0])

    @property
    def tracks(self) -> tuple[Track, ...]:
        """One a channel, in order; `place` counts in the take."""
        found = [track for recording in self.parts[0] for track in recording.tracks]
        return tuple(replace(track, place=k) for k, track in enumerate(found, 1))

    @property
    def name(self) -> str:
        """Name for people: its first file."""
        return self.first.path.name

    @property
    def notes(self) -> tuple[str, ...]:
        """Faults of its files, each with the name of one that it holds of."""
        found: dict[str, str] = {}
        for recording in self.files:
            for note in recording.notes:
                found.setdefault(note, recording.path.name)
        return tuple(f"{name} {note}" for note, name in found.items())


def _gap(first: tuple[Recording, ...], second: tuple[Recording, ...]) -> int:
    end, begin = first[0].end_reference, second[0].time_reference
    if end is None or begin is None:
        return 0
    day = day_samples(first[0])
    apart = (begin - end) % day
    longer = Take.part_samples(first) - first[0].samples  # another file of the set ends later
    return max(0, round(apart / first[0].stamps_a_sample) - longer) if apart < day / 2 else 0


def day_samples(recording: Recording) -> Fraction:
    """Samples after which its time stamp begins again: 24 hours of its own timecode."""
    clock = recording.clock
    if clock.timecode_rate is None:
        return 86400 * clock.stamp_rate
    rate = FrameRate(fraction=clock.timecode_rate)
    return rate.day(drop=bool(clock.drop) and rate.can_drop) * clock.stamp_rate / rate.fraction


def take_of(recordings: Iterable[Recording]) -> Take | None:
    """The one take that some files make; None where they make several."""
    found = takes_of(recordings)
    return found[0] if len(found) == 1 else None


def takes_of(recordings: Iterable[Recording]) -> list[Take]:
    """Files as takes, in the order of their names. Files of different folders, which may be copies, are never put together."""
    folders: dict[Path, list[Recording]] = {}
    for recording in sorted(recordings, key=lambda r: _natural(str(r.path))):
        folders.setdefault(recording.path.parent, []).append(recording)
    takes = [take for found in folders.values() for take in _joined(_sets(found))]
    return sorted(takes, key=lambda take: _natural(str(take.first.path)))


def _sets(recordings: list[Recording]) -> list[tuple[Recording, ...]]:
    """Files that lie beside one another: of one family, or of one name up to `_1`, `_2`, that begin at the same sample."""
    found: dict[object, list[Recording]] = {}
    for recording in recordings:
        found.setdefault(_set_key(recording), []).append(recording)
    return [tuple(sorted(each, key=_order)) for each in found.values()]


def _set_key(recording: Recording) -> object:
    begins = (recording.sample_rate, recording.time_reference)
    stem = re.fullmatch(r"(.+)_\d{1,2}", recording.path.stem)
    if recording.time_reference is None:
        return recording.path
    if recording.family:
        return ("family", recording.family, *begins)
    if stem and recording.channels == 1:
        return ("name", stem[1], *begins)
    return recording.path


def _order(recording: Recording) -> tuple[int, list[object]]:
    return min((track.channel for track in recording.tracks), default=0), _natural(recording.path.name)


def _joined(sets: list[tuple[Recording, ...]]) -> Iterator[Take]:
    """Sets that go on where another ends, as one take each."""
    ordered = sorted(sets, key=lambda s: (s[0].time_reference or 0, _natural(s[0].path.name)))
    left = list(ordered)
    starts = [s for s in ordered if not any(o is not s and _goes_on(o, s) for o in ordered)] or ordered[:1]
    for start in starts:
        if start not in left:
            continue
        left.remove(start)
        parts = [start]
        while following := next((s for s in left if _goes_on(parts[-1], s)), None):
            left.remove(following)
            parts.append(following)
        yield Take(parts=tuple(parts))
    for alone in left:
        yield Take(parts=(alone,))


def _goes_on(first: tuple[Recording, ...], second: tuple[Recording, ...]) -> bool:
    """True if a set begins with the very sample after another's last, and is of the same recording."""
    a, b = first[0], second[0]
    end, begin = a.end_reference, b.time_reference
    if end is None or begin is None or a.samples == 0 or Take.part_samples(first) != a.samples:
        return False
    if [r.channels for r in first] != [r.channels for r in second] or a.sample_rate != b.sample_rate:
        return False
    if a.clock != b.clock or (end - begin) % day_samples(a) != 0:
        return False
    same_family = a.family == b.family or not (a.family and b.family)
    return same_family and (a.scene, a.take, a.roll) == (b.scene, b.take, b.roll)


def _natural(text: str) -> list[object]:
    """A key that sorts `_2` before `_10`."""
    return [(0, int(p), "") if p.isdecimal() else (1, 0, p.lower()) for p in re.split(r"(\d{1,15})", text)]
