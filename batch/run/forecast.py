"""Forecast of what will be ready by a moment: first by the plan's estimate, then by the speed of the run
itself.

Work is counted in seconds of one core as the plan estimates them; the run tells how many of those it does a second.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from rushlight.batch.plan.jobs import still_frames
from rushlight.batch.plan.model import PlannedClip
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.recipe.model import MovieOutput, StillsOutput

__all__ = [
    "Deadline",
    "Forecast",
    "cost_of",
    "cost_of_outputs",
    "forecast",
    "moment_text",
    "next_time",
    "speed",
]

# Seconds of one core for a million pixels decoded, and for a million of them graded, drawn on and encoded: measured (see
# docs/performance.md); a first guess, since codecs and machines differ.
DECODE, MAKE = 0.009, 0.022
# The same for a scene-linear original decoded and brought to log, and for a still evaluated exactly, measured and written;
# and seconds that a clip takes beside its frames: joined, read back, its pages' pictures.
LINEAR, STILL, FINISH = 0.09, 1.0, 0.5
WEIGHT = 60.0  # seconds of running after which what was measured counts as much as the guess
SLIP = 900.0  # seconds later than said before: said again


def cost_of(
    source: int, made: Iterable[int], count: int, *, stills: Iterable[int] = (), scene_linear: bool = False
) -> float:
    """Seconds of one core for a clip of `count` frames of `source` pixels: movies of so many pixels each, and stills, each
    distinct one (not each file of it). `scene_linear`: an original such as EXR, which becomes log first."""
    movies, exact = list(made), list(stills)
    decode = (LINEAR if scene_linear else DECODE) * source
    frames = count * (decode + MAKE * sum(movies)) if movies else len(exact) * decode
    return (frames + STILL * sum(exact)) / 1e6 + FINISH


def cost_of_outputs(clip: PlannedClip, outputs: Sequence[MovieOutput | StillsOutput]) -> float:
    """Seconds of one core that a recipe's outputs of a clip take."""
    source = clip.facts.width * clip.facts.height

    def pixels(output: MovieOutput | StillsOutput) -> int:
        frame = clip.frame_of(output)
        return frame.width * frame.height

    return cost_of(
        source,
        (pixels(o) for o in outputs if isinstance(o, MovieOutput)),
        clip.count,
        stills=[pixels(o) for o in outputs if isinstance(o, StillsOutput) for _ in still_frames(clip, o)],
        scene_linear=clip.signal.encoding.kind == "linear",
    )


def speed(done: float, seconds: float, guess: float) -> float:
    """Work a second, where `done` was done in so many seconds: the guess at first, what was measured in the end."""
    return (done + guess * WEIGHT) / (max(0.0, seconds) + WEIGHT)


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """Clips that will be ready by a moment, those that will not, and when all of them are (seconds, as
    `time.time`)."""

    by: float
    end: float
    ready: tuple[str, ...]
    late: tuple[str, ...]
    measured: bool = False  # it rests on measured speed, not on the plan's guess

    def text(self) -> str:
        """`by 08:00 UTC on 26 November 180 of the 212 clips left will be ready, all by 09:12 UTC on 26 November`."""
        count = len(self.ready) + len(self.late)
        return (
            f"by {moment_text(self.by)} {len(self.ready)} of the {counted(count, 'clip')} left will be ready, all by {moment_text(self.end)}"
            + (f"; not: {', '.join(self.late[:6])}{' …' if len(self.late) > 6 else ''}" if self.late else "")
        )

    def document(self) -> dict[str, str | list[str]]:
        """The same in plain values."""
        by, end = (
            datetime.fromtimestamp(m).astimezone().isoformat(timespec="minutes") for m in (self.by, self.end)
        )
        return {"ready_by": by, "all_ready": end, "ready": list(self.ready), "late": list(self.late)}


def forecast(work: Iterable[tuple[str, float]], *, rate: float, now: float, by: float) -> Forecast:
    """Clips with what is left to do of each, in the order in which they are made; `rate` is work a second.

    A clip that comes several times is ready with the last. Without any speed nothing more is ever ready.
    """
    ends: dict[str, float] = {}
    total = 0.0
    for clip, cost in work:
        total += cost
        ends[clip] = now + total / rate if rate > 0 else float("inf")
    ready = tuple(clip for clip, end in ends.items() if end <= by)
    late = tuple(clip for clip, end in ends.items() if end > by)
    end = max(ends.values(), default=now)
    return Forecast(by=by, end=min(end, now + 366 * 86400), ready=ready, late=late)


@dataclass
class Deadline:
    """Watches a run: says when the forecast slips past the moment, when it is in time again, and when it slips further."""

    by: float
    begun: float = 0.0
    done: float = 0.0  # work
    late: bool = False
    measured: bool = False
    said: float = field(default=0.0)  # the end as it was said last

    def look(
        self, work: Sequence[tuple[str, float]], *, workers: int, now: float
    ) -> tuple[str, Forecast] | None:
        """("late" or "in time", the forecast) where that is news. A guess counts for "late" until there is a measure."""
        self.begun = self.begun or now
        seconds = now - self.begun
        found = forecast(work, rate=speed(self.done, seconds, float(workers)), now=now, by=self.by)
        measured = self.done > 0 and seconds >= WEIGHT / 2
        found = replace(found, measured=measured)
        was, self.late = self.late, bool(found.late)
        first = self.late and measured and not self.measured
        self.measured = measured
        if self.late and (not was or first or found.end > self.said + SLIP):
            self.said = found.end
            return "late", found
        if was and not self.late:
            return "in time", found
        return None


def next_time(text: str, now: datetime) -> datetime:
    """The next moment at which a local clock shows `HH:MM`. OptionError for what is no time."""
    try:
        clock = datetime.strptime(text, "%H:%M").time()
    except ValueError:
        raise OptionError(f"{text!r} is no time of day; HH:MM is needed, such as 05:30") from None
    local = now.astimezone().replace(tzinfo=None)
    day = local.date() + timedelta(days=clock <= local.time())
    return datetime.combine(day, clock).astimezone()


def moment_text(moment: float) -> str:
    """`08:00 CET on 26 November`: a moment as a local clock shows it, with its zone."""
    return time.strftime("%H:%M %Z on %d %B", time.localtime(moment))
