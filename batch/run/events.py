"""Events of a run, its summary, and the terms it is held to: the runner's words with the rest."""

from __future__ import annotations

import os
import stat
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from rushlight.batch.disks import folder_mode
from rushlight.batch.interrupts import GRACE, Stop
from rushlight.batch.queue.store import QueuedJob
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.queue_row import QueuedPlan
from rushlight.batch.run.forecast import Deadline, Forecast
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.inside_folder import holding

PLANNING, PREPARING, RENDERING, CHECKING, PAGES = (
    "planning",
    "preparing this machine",
    "rendering",
    "checking",
    "pages",
)

__all__ = [
    "CHECKING",
    "PAGES",
    "PLANNING",
    "PREPARING",
    "RENDERING",
    "Event",
    "Phase",
    "Place",
    "Stop",
    "Summary",
    "Terms",
    "Work",
    "phase",
    "stopping_text",
]


@dataclass(frozen=True, kw_only=True)
class Phase:
    """A phase of the run, how much of it is done, and the moment that it should end (`time.time`), where that is known."""

    name: str
    done: int
    total: int
    ends: float | None = None
    clips: Sequence[tuple[str, int, int]] = ()  # of those in hand: clip, frames made, frames in all

    def document(self) -> dict[str, object]:
        """The same in plain values."""
        found: dict[str, object] = {"phase": self.name, "done": self.done, "total": self.total}
        if self.ends is not None:
            found["ends"] = datetime.fromtimestamp(self.ends).astimezone().isoformat(timespec="seconds")
        if self.clips:
            found["clips"] = [{"clip": c, "done": done, "total": total} for c, done, total in self.clips]
        return found


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that happened.

    `what`: started, segment, part (some outputs of a clip whose others follow), done, there (it was made already),
    failed, set aside, phase (what the run does now), changed (its original), waits for a grade, retry, waiting (for a folder, or an original that
    grows), warning (something to know), late and in time (by the `forecast`), paused, resumed, stopping.
    """

    what: str
    clip: str = ""
    text: str = ""
    frames: int = 0
    of: int = 0  # frames of the clip, where it is started
    record: JobRecord | None = None
    forecast: Forecast | None = None
    phase: Phase | None = None


def phase(name: str, done: int, total: int, *, text: str = "", ends: float | None = None) -> Event:
    """A phase begins, with a sentence, or gets on. `ends` is the moment that it should end (`time.time`)."""
    return Event(what="phase", text=text, phase=Phase(name=name, done=done, total=total, ends=ends))


@dataclass(frozen=True, kw_only=True)
class Terms:
    """Terms of a night: room kept free, permissions of what is made, when it should be ready, and who may
    stop it."""

    keep_free: int = 500_000_000  # bytes
    mode: int | None = None
    ready_by: float | None = None  # as time.time
    stop: Stop = field(default_factory=Stop)

    def deadline(self) -> Deadline | None:
        """A watch over the night, where it should be ready by a moment."""
        return Deadline(by=self.ready_by) if self.ready_by else None


def stopping_text(stop: Stop, tasks: int) -> str:
    """Message once nothing more is started."""
    if not tasks:
        return "nothing is in hand"
    text = f"{counted(tasks, 'piece')} of work being finished"
    return f"{text}, for {GRACE:.0f} s at most; Ctrl-C again ends it at once" if stop.since else text


@dataclass
class Summary:
    """Summary of a run that has ended, in jobs."""

    done: list[str] = field(default_factory=list)
    failed: list[tuple[str, str]] = field(default_factory=list)
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    changed: dict[str, QueuedJob] = field(
        default_factory=dict
    )  # by key: their originals are to be planned again
    left: int = 0
    frames: int = 0
    seconds: float = 0.0
    stopped: str = ""  # by a signal: where

    def add(self, later: Summary) -> None:
        """Go on with another run's."""
        self.done += later.done
        self.failed += later.failed
        self.set_aside += later.set_aside
        self.changed, self.left = later.changed, later.left
        self.frames += later.frames
        self.seconds += later.seconds


class Place:
    """A run's care for output folders. This one has no others to care for, nor anything to do when idle;
    `mode` are the permissions of delivered files, where they are not the umask's."""

    def __init__(self, mode: int | None = None) -> None:
        self.mode = mode

    def claim(self, out: Path) -> str:
        """Take a folder for this run before its first job starts. Gives why not yet; empty where it is taken. OptionError, once it is
        said why, where this run is not to take it at all: its jobs stay queued."""
        return ""

    def away(self, plan: QueuedPlan) -> str:
        """Why a clip waits for its original, which is not there; empty where it does not: it is there, or a clip without fails."""
        return ""

    def decided(self, job: QueuedJob) -> str:
        """Why a job is not made as it was queued: a list that was read since asks for another picture of its clip; else empty."""
        return ""

    def delivered(self, out: Path, record: JobRecord) -> None:
        """A clip's files have their final names; on other machines they were made under another umask."""
        if self.mode is None:
            return
        for entry in record.outputs:
            name, mode = entry.path, self.mode
            while name:
                with suppress(OSError, OutsideError), holding(out, name) as (above, last):
                    if not stat.S_ISLNK(os.stat(last, dir_fd=above, follow_symlinks=False).st_mode):
                        os.chmod(last, mode, dir_fd=above)
                name, mode = name.rpartition("/")[0], folder_mode(self.mode)

    def idle(self) -> None:
        """Nothing is left to do for now."""


@dataclass(frozen=True, kw_only=True)
class Work:
    """The two functions a farm runs, as `module:name`, and whether graphics cards may grade, or must."""

    segment: str = "rushlight.pipelines.render.segment:render_segment"
    finish: str = "rushlight.batch.finish.finish:finish_job"
    graphics: str = "auto"

    @property
    def modules(self) -> tuple[str, ...]:
        """Modules of the work, which workers load before there is any."""
        return self.segment.partition(":")[0], self.finish.partition(":")[0]
