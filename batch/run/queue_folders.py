"""The output folders of a queue's run: locked while it has jobs in them, and their pages made when it has none left."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from rushlight.batch.job_log import newer_text, read_records, refuse_newer
from rushlight.batch.plan.away_clips import is_there
from rushlight.batch.queue.filling import clear_work
from rushlight.batch.queue.locks import Lock, hold_folder
from rushlight.batch.queue.readings_since import ReadingsSince
from rushlight.batch.queue.store import QueuedJob, Store
from rushlight.batch.records.queue_row import QueuedPlan
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.events import Place
from rushlight.batch.run.report_and_manifest import pages_are_current, write_pages
from rushlight.pipelines.errors import OptionError, QueueError

if TYPE_CHECKING:
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["QueueFolders", "Watch"]


class Watch(Protocol):
    """Somebody who queues what comes for some folders while a queue is run: begun once the queue is ours, ended ahead of the last
    words."""

    outs: Sequence[Path]

    @property
    def lacks_others(self) -> bool: ...

    def begin(self) -> None: ...

    def end(self) -> None: ...


class QueueFolders(Place):
    """The output folders of a queue's run: each locked while it has jobs, its pages made when it has none left. Those of a watched day
    are locked to its end, and its clips wait for originals that are not there."""

    def __init__(
        self, store: Store, events: EventStream, mode: int | None, room: Room, *, watch: Watch | None = None
    ) -> None:
        super().__init__(mode)
        self.watch = watch
        self.store, self.events, self.room = store, events, room
        self.ran: set[Path] = set()
        self.newer: set[Path] = set()  # what a newer version made a part of is left to it
        self._locks: dict[Path, Lock] = {}
        self._written: set[Path] = set()
        self._paged: set[Path] = set()  # pages were made in this run
        self._readings = ReadingsSince()

    def claim(self, out: Path) -> str:
        """OutsideError where one of its own folders is a link, OptionError where a newer version rendered into it."""
        try:
            if out not in self._locks:
                self._refuse_newer(out)
                self._locks[out] = hold_folder(out)
        except QueueError as error:
            return f"{error}; its clips wait for that"
        self.ran.add(out)
        self.events.folder(out, held_for=self.store.path)
        self._written.discard(out)
        return ""

    def _refuse_newer(self, out: Path) -> None:
        if text := newer_text(read_records(out)):
            self.newer.add(out)
            ways = "run this queue with the newer one, or drop them and add their lists with another --out"
            self.events.problem(f"{out} {text}. Its clips stay queued: {ways}")
            raise OptionError(text, file=str(out))

    def takes(self, out: Path) -> bool:
        """True if a folder is taken, for its pages alone; one of a newer version's is not."""
        try:
            return not self.claim(out)
        except OptionError:
            if out not in self.newer:
                raise
            return False

    def away(self, plan: QueuedPlan) -> str:
        source = plan.source
        files = map(Path, source.files or [source.path]) if self.watch else ()
        lost = [path for path in files if not is_there(path)]
        return (
            f"{lost[0].parent}: originals are not there; their clips wait until they are back" if lost else ""
        )

    def decided(self, job: QueuedJob) -> str:
        return self._readings.text(job)

    def idle(self) -> None:
        """Pages of what ran; what is finished is let go."""
        new = sorted(set(self._locks) - self._written)
        if not new:
            return
        left = {Path(job.out) for job in self.store.rows("queued", "held", "running")}
        for out in new:
            if out not in self._paged or not pages_are_current(
                out
            ):  # clips that wait for their card are asked for again and again
                write_pages(out, self.events, self.room)
                self._paged.add(out)
            self._written.add(out)
            if out not in left and not (self.watch and out in self.watch.outs):
                self._let_go(out)

    def left(self) -> int:
        """How many jobs could still be made here."""
        return sum(Path(job.out) not in self.newer for job in self.store.rows("queued", "running"))

    def day_over(self, watch: Watch) -> None:
        """End the watch, and let go of its folders where nothing is left."""
        watch.end()
        if watch.lacks_others:
            for out in watch.outs:
                write_pages(out, self.events, self.room)
        left = {Path(job.out) for job in self.store.rows("queued", "held", "running")}
        for out in (set(watch.outs) & self._locks.keys()) - left:
            self._let_go(out)

    def _let_go(self, out: Path) -> None:
        clear_work(out)
        self.events.let_go(out)
        self._locks.pop(out).release()

    def __enter__(self) -> QueueFolders:
        with ExitStack() as refused:
            refused.callback(self.__exit__)
            for out in self.watch.outs if self.watch else ():
                refuse_newer(out, read_records(out))
                self.claim(out)
                self._written.add(out)  # nothing ran in it yet
            refused.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        for lock in self._locks.values():
            lock.release()
