"""Rates of a mixed day: what a clip is played at, what it was exposed at, and doubts about the two."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from rushlight.batch.lists.clip_list import Row
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import SourceError, TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.recipe.model import Recipe

if TYPE_CHECKING:
    from rushlight.batch.plan.model import PlannedClip

__all__ = ["exposed_rate", "played_rate", "rate_doubts", "relabelled"]


def played_rate(facts: Facts, recipe: Recipe, warnings: list[str]) -> tuple[FrameRate, bool]:
    """The rate a clip is delivered at, and whether it is retimed: every frame once, silent. SourceError where the
    recipe refuses it."""
    if facts.variable_rate and (off := _out_of_step(facts)):
        warnings.append(
            f"of variable rate: played frame for frame and without sound, it runs {off} than recorded"
        )
        return FrameRate.parse(recipe.show_rate) if recipe.show_rate else facts.rate, True
    if not recipe.show_rate:
        return facts.rate, False
    show = FrameRate.parse(recipe.show_rate)
    if show == facts.rate:
        return facts.rate, False
    if facts.rate.nominal == show.nominal:
        warnings.append(f"runs at {facts.rate}, the show at {show}: {_drift(show)}")
    if recipe.off_speed == "refuse":
        raise SourceError(
            f"runs at {facts.rate} frames a second, the show at {show}; the recipe refuses it",
            file=str(facts.path),
        )
    if recipe.off_speed == "keep":
        warnings.append(f"keeps its own rate of {facts.rate}; the show's is {show}")
        return facts.rate, False
    warnings.append(f"shot at {facts.rate}, played frame for frame at {show}, without the camera's sound")
    return show, True


def _out_of_step(facts: Facts) -> str:
    """Seconds longer or shorter that a clip of variable rate runs at its even one; empty where it keeps step."""
    if facts.seconds is None:
        return ""
    off = facts.rate.seconds(facts.frames) - facts.seconds
    if abs(off) <= facts.rate.seconds(1):
        return ""
    return f"{float(abs(off)):.2f} s {'longer' if off > 0 else 'shorter'}"


def _drift(rate: FrameRate) -> str:
    return f"the two drift apart by a frame in {round(Fraction(1001, rate.nominal))} seconds"


def exposed_rate(row: Row, facts: Facts, played: FrameRate, warnings: list[str]) -> FrameRate | None:
    """The rate that a clip's frames were exposed at: the list's, else the header's. TimecodeError with its column."""
    stated = None
    if row["capture_rate"]:
        try:
            stated = FrameRate.parse(row["capture_rate"])
        except TimecodeError as error:
            raise error.at(key="capture_rate") from None
    if stated and facts.capture_rate and stated != facts.capture_rate:
        warnings.append(f"the list says exposed at {stated}, the file says {facts.capture_rate}")
    rate = stated or facts.capture_rate
    if rate and rate != played:
        warnings.append(f"off-speed: exposed at {rate}, played at {played}")
    return rate


def relabelled(start: Timecode, rate: FrameRate) -> Timecode:
    """The first label at another rate: the same hours, minutes and seconds, the frame number kept where it exists."""
    drop = start.drop and rate.can_drop
    hours, minutes, seconds, frames = str(start).replace(";", ":").split(":")
    number = min(int(frames), rate.nominal - 1)
    if drop and seconds == "00" and int(minutes) % 10:
        number = max(number, rate.dropped)  # drop-frame leaves the labels below out
    return Timecode.parse(f"{hours}:{minutes}:{seconds}{';' if drop else ':'}{number:02}", rate)


def rate_doubts(clips: Sequence[PlannedClip], recipe: Recipe) -> list[str]:
    """A sentence for each pair of rates such as 24 and 23.976 in one list, where no show rate says which is meant."""
    if recipe.show_rate:
        return []  # said of each clip
    found = []
    groups: dict[int, dict[FrameRate, list[PlannedClip]]] = defaultdict(lambda: defaultdict(list))
    for clip in clips:
        groups[clip.rate.nominal][clip.rate].append(clip)
    for rates in groups.values():
        if len(rates) > 1:
            some = " and ".join(
                f"{counted(len(group), 'clip')} at {rate} ({group[0].row.clip}{', …' if len(group) > 1 else ''})"
                for rate, group in sorted(rates.items())
            )
            found.append(f"{some}: {_drift(min(rates))}; `show_rate` in the recipe says which it is")
    return found
