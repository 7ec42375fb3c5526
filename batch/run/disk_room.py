"""Room on the disks: for what a night writes outside its tasks (inputs, looks, the queue, the report), and for its tasks.

The one rule of `Room`: where a disk is full or a quota used up, the night pauses, says so (which rings `--on-failure`), and writes
again what it was writing once there is room. So whatever is written by `Room` must bear to be written twice.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from rushlight.batch.disks import free_bytes, mount_of, size_text
from rushlight.batch.interrupts import Stop
from rushlight.batch.queue.store import QueuedJob
from rushlight.batch.run.events import Event
from rushlight.pipelines.errors import RushlightError, from_os, no_room

if TYPE_CHECKING:
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["Disks", "Room"]

LOOK = 0.25  # seconds between two looks at the disk
AGAIN = (
    5.0  # seconds after which it is tried though the disk shows no more room: a quota may have been raised
)
MORE = (
    1 << 20
)  # bytes that must be free beside those that were when a write failed: who failed may have taken its own away
T = TypeVar("T")


class Room:
    """Writes that wait for room. `patient` is False for who would rather have the error: a person is there."""

    def __init__(self, events: EventStream, stop: Stop, *, patient: bool = True) -> None:
        self.events, self.stop, self.patient = events, stop, patient

    def to(self, place: Path, write: Callable[[], T], *, begun: Future[T] | None = None) -> T:
        """Result of `write`, once there was room for it where `place` lies; `begun` is its first attempt.

        Other errors are raised as they come, and a want of room where a stop was asked for.
        """
        paused = False
        while True:
            try:
                found = begun.result() if begun else write()
            except Exception as error:
                if not self.patient or not no_room(error) or self.stop.level:
                    raise
                if not paused:
                    paused = True
                    ours = from_os(error, place) if isinstance(error, OSError) else error
                    self.events.event(Event(what="paused", text=f"{ours}; make room and it goes on"))
                begun = None
                self._wait(place)
            else:
                if paused:
                    self.events.event(Event(what="resumed", text="it goes on"))
                return found

    def _wait(self, place: Path) -> None:
        """Until there is more room than now, or it is time to try; or a stop is asked for."""
        before, until = free_bytes(place), time.monotonic() + AGAIN
        while time.monotonic() < until and free_bytes(place) <= before and not self.stop.level:
            time.sleep(LOOK)


@dataclass(kw_only=True)
class _Short:
    """A place where a write found no room: what is said, the bytes that were free then, and when it is tried all the same."""

    place: Path
    why: str
    free: int
    until: float
    tried: bool = False

    def lasts(self) -> bool:
        """True if there is no more room than before, and it is not yet time to try."""
        if free_bytes(self.place) > self.free + MORE:
            self.why = ""
        return bool(self.why) and time.monotonic() < self.until


class Disks:
    """The disks of a run's output folders: whether they are there and have room, and the pause where they have not."""

    def __init__(self, on_event: Callable[[Event], None], keep_free: int) -> None:
        self.on_event, self.keep_free = on_event, keep_free
        self.claimed: set[str] = set()  # output folders that this run writes into
        self.paused = ""  # why
        self.short: dict[str, _Short] = {}  # by output folder; "" is the queue's own

    def suffice(self, jobs: Sequence[QueuedJob], why: str) -> bool:
        """True if there is disk to go on with for these jobs, and no fault (`why`); pauses and resumes, and says so.

        Where a write found no room it is so once there is more, or time to try: then the pause lasts until `written`."""
        trying = False
        for out in {"", *(job.out for job in jobs)}:
            if (short := self.short.get(out)) and not short.lasts():
                if short.why:
                    short.tried, short.until, trying = True, time.monotonic() + AGAIN, True
                else:
                    del self.short[out]
            elif short:
                why = short.why
        for job in jobs:
            if self.gone(job):
                why = f"the disk of {job.out} is gone; nothing is written until it is back, or its lists are added again"
            elif free_bytes(Path(job.out)) < self.keep_free:
                why = f"{job.out} has less than {size_text(self.keep_free)} free; make room and it goes on"
        if why or not trying:
            self.pause(why)
        return not why

    def full(self, out: str, place: Path, error: RushlightError) -> str:
        """Pause, as a write in an output folder ("" for the queue's own) found no room. Gives what is said of it."""
        known = self.short.get(out)
        remedy = "make room and it goes on" if no_room(error) else "once it can be written to it goes on"
        why = known.why if known and known.why else f"{place}: {error.text}; {remedy}"
        until = time.monotonic() + AGAIN
        self.short[out] = _Short(place=place, why=why, free=free_bytes(place), until=until)
        self.pause(why)
        return why

    def written(self, out: str, *, now: bool = False) -> None:
        """A write succeeded in an output folder without more room to be seen, as under a quota; `now`: tried
        or not."""
        for place in {"", out}:
            if place in self.short and (now or self.short[place].tried):
                del self.short[place]

    def pause(self, why: str) -> None:
        if why != self.paused:
            self.on_event(Event(what="paused" if why else "resumed", text=why or "it goes on"))
            self.paused = why
        if why:
            time.sleep(LOOK)

    def gone(self, job: QueuedJob) -> bool:
        """True if another disk lies under a job's folder than when it was queued, such as the system's after
        an unmount."""
        out = Path(job.out)
        try:
            away = bool(job.mount) and mount_of(out) != job.mount
            return away or (job.out in self.claimed and not out.is_dir())
        except OSError:  # a share whose server is away
            return True
