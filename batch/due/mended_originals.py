"""Originals that were copied again whole: frames of them that were damaged can be read now, while ends, size and time tell nothing.

Looked at is only an original of whose frames the record says so. One that is found mended is another than its files were made of: that
is part of its identity from then on, and stays in the record, so that every later night finds the same.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.original import Source
from rushlight.batch.what_is_there import whole_again
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.originals.damaged_places import LookedAt, look_again
from rushlight.pipelines.originals.facts import Facts

__all__ = ["NOTHING", "Mended", "mended_since", "spoilt_text"]

MANY = 8  # runs of frames that are named


@dataclass(frozen=True, kw_only=True)
class Mended:
    """Runs of an original's frames that were damaged in an earlier copy of it; `text` where that was found just now, and `by_hand`
    where frames that were found mended are damaged in what was made since: what is read of it now is no proof."""

    runs: tuple[tuple[int, int], ...] = ()
    text: str = ""
    by_hand: bool = False

    def identity(self, sampled: str) -> str:
        """What the original is told by: the hash of its ends, and which of its frames were mended."""
        return f"{sampled}+mended:{self.plain()}" if self.runs else sampled

    def plain(self) -> list[list[int]]:
        """The runs as a record has them."""
        return [list(run) for run in self.runs]


NOTHING = Mended()


def mended_since(
    record: JobRecord | None, sampled: str, facts: Facts, frames: range, *, conform: bool = False
) -> Mended:
    """What is known, and found, of the original of a record's clip. `sampled` is the hash of its ends as it is now, and `frames` are
    the clip's in it."""
    source = (record and record.source) or Source()
    if record is None or not source.sampled or source.sampled != sampled:
        return NOTHING
    known = _runs(source.mended)
    damaged = {each.frame for each in record.damage if each.frame in frames}
    if not damaged or any(first <= frame <= last for first, last in known for frame in damaged):
        return Mended(runs=known, by_hand=bool(damaged))
    try:
        found = look_again(facts, damaged, conform=conform)
    except (RushlightError, OSError):  # whoever renders it says what is wrong with it
        return Mended(runs=known)
    if not found.sound:
        return Mended(runs=known)
    return Mended(runs=_runs([*known, *((n, n) for n in found.sound)]), text=_text(damaged, found))


def _text(damaged: Collection[int], found: LookedAt) -> str:
    looked = len(found.sound) + len(found.damaged)
    if looked < len(damaged):
        share = counted(len(found.sound), "frame")
        return f"{share} of {looked} that were looked at, of {len(damaged)} damaged ones, can be read now"
    runs = _runs((n, n) for n in found.sound)
    named = shortened([str(a) if a == b else f"{a}-{b}" for a, b in runs], MANY)
    rest = f"; {counted(len(found.damaged), 'other')} still cannot" if found.damaged else ""
    one = len(found.sound) == 1
    return f"its damaged {'frame' if one else 'frames'} {named} can be read now{rest}"


def _runs(runs: Iterable[Sequence[int]]) -> tuple[tuple[int, int], ...]:
    """Runs of frames in order, joined where they touch; what is none is left out. A record may claim runs of any length."""
    found: list[tuple[int, int]] = []
    for first, last in sorted((a, b) for a, b in runs):
        if found and first <= found[-1][1] + 1:
            found[-1] = (found[-1][0], max(found[-1][1], last))
        elif first <= last:
            found.append((first, last))
    return tuple(found)


def spoilt_text(clip: str, record: JobRecord | None, mended: Mended) -> str:
    """A sentence where what is there has damaged frames, and how it is made anew; empty without any."""
    if record is None or not record.damage:
        return ""
    return f"{clip} was {record.damage_texts()[0]}. {whole_again(record, by_hand=mended.by_hand)}"
