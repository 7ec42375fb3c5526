"""Several recordings that a row names, as one take: those that follow one another, each at its own timecode, and those that begin
at the same sample, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.originals.sound import SAMPLE_RATE
from rushlight.pipelines.outputs.production_sound import track_label
from rushlight.pipelines.sound.placing import Fit
from rushlight.pipelines.sound.take import Take

__all__ = ["together"]


def together(named: Sequence[tuple[Take, Fit]]) -> tuple[Take, tuple[str, ...]]:
    """One take of several, each with its place under the clip, and what is to be said of it. Those that begin together have
    their tracks in the order named. ListError with key `sound` where they cannot be laid together, with what would do."""
    for one, other in pairwise(take for take, _ in named):
        a, b = one.first, other.first
        if (a.sample_rate, a.clock) != (b.sample_rate, b.clock):
            raise ListError(
                f"names {one.name} and {other.name}, whose rates are not the same ({_rates(one)}; {_rates(other)}); name one of them",
                key="sound",
            )
    sets = _side_by_side(sorted(named, key=lambda each: -each[1].start))
    for before, after in pairwise(sets):
        _check_order(before, after)
    take = Take(parts=tuple(part for each in sets for part in each.take.parts))
    return take, tuple(
        _renamed(sets[0].take, each.take) for each in sets[1:] if _names(each.take) != _names(take)
    )


@dataclass(frozen=True, kw_only=True)
class _Set:
    """Recordings that begin together, as one, with the place of the first."""

    take: Take
    fit: Fit


def _side_by_side(ordered: Sequence[tuple[Take, Fit]]) -> list[_Set]:
    found: list[_Set] = []
    for take, fit in ordered:
        if not found or found[-1].fit.start != fit.start:
            found.append(_Set(take=take, fit=fit))
            continue
        before = found[-1].take
        if len(take.parts) > 1 or len(before.parts) > 1:
            raise ListError(
                f"names {before.name} and {take.name}, which begin together and go on in further files; name the files of one",
                key="sound",
            )
        found[-1] = _Set(take=Take(parts=((*before.parts[0], *take.parts[0]),)), fit=fit)
    return found


def _check_order(one: _Set, other: _Set) -> None:
    """ListError where the second begins before the first ends, or has another number of tracks."""
    if one.take.channels != other.take.channels:
        raise ListError(
            f"names {one.take.name} with {counted(one.take.channels, 'track')} and {other.take.name} with "
            f"{counted(other.take.channels, 'track')}: what follows one another needs as many; name one of them",
            key="sound",
        )
    apart = one.fit.start - other.fit.start
    if apart < one.take.samples:
        seconds = float(apart / one.fit.step / SAMPLE_RATE)
        raise ListError(
            f"names {one.take.name} and {other.take.name}, which run at the same time and begin {seconds:.3f} s apart: only files "
            "that follow one another, or begin at the same sample, are laid together; name one of them",
            key="sound",
        )


def _rates(take: Take) -> str:
    clock = take.first.clock
    rate = f"timecode at {float(clock.timecode_rate):g}" if clock.timecode_rate else "no timecode rate"
    drop = " drop-frame" if clock.drop else ""
    return f"{take.first.sample_rate} Hz, {rate}{drop}"


def _names(take: Take) -> list[str]:
    return [track_label(track.name, track.place) for track in take.tracks]


def _renamed(first: Take, other: Take) -> str:
    return f"the tracks of {other.name} ({', '.join(_names(other))}) follow those of {first.name} ({', '.join(_names(first))})"
