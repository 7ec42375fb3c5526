"""Results in: what workers give back is written into the queue and the log, and a job's files are accounted for.

What there is no room to write down is owed, and the night pauses until there is.
"""

from __future__ import annotations

import time
from collections import deque
from dataclasses import replace
from pathlib import Path

from rushlight.batch.error_log import kept_fault
from rushlight.batch.farm.tasks import LostWorker, Result
from rushlight.batch.finish.stood_there import Told
from rushlight.batch.job_log import NotMade, append_record, failure_record, latest, log_path, read_records
from rushlight.batch.queue.state_machine import FINISH, Action, Ended, Failed, FailureKind, failure_kind, step
from rushlight.batch.queue.store import QueuedJob
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord, read_record
from rushlight.batch.records.merged import with_delivered
from rushlight.batch.records.queue_row import SegmentResult
from rushlight.batch.run import revisions
from rushlight.batch.run.disk_room import Disks
from rushlight.batch.run.ended_jobs import Running, RunState, delivered_record, lost_record
from rushlight.batch.run.events import Event
from rushlight.batch.run.forecast import Deadline
from rushlight.pipelines.errors import (
    OptionError,
    OwnFault,
    ResourceError,
    RushlightError,
    from_os,
    no_room,
    own_fault,
)
from rushlight.pipelines.inside_folder import remove_tree

__all__ = ["Delivery"]


class Delivery:
    """Takes results in and writes down what became of each job. The only writer of the log."""

    def __init__(self, state: RunState, disks: Disks, deadline: Deadline | None) -> None:
        self.state, self.disks, self.deadline = state, disks, deadline
        self.unsaved: list[
            tuple[Running, int, SegmentResult]
        ] = []  # segments that are not in the queue's file yet
        self.owed: deque[tuple[Running, int, Result]] = deque()  # finishes and failures, neither
        self.work = 0.0  # done so far in this run, in the seconds that the plan gives it
        self.fault = ""  # why they could not be written down
        self.logged: dict[Path, dict[str, JobRecord]] = {}
        self.told: dict[Path, Told] = {}  # files that they ever told of
        self.log_sizes: dict[Path, int] = {}  # of the logs as they were read or written last
        self.without_card = set[str]()  # machines of which that was said

    @property
    def owing(self) -> bool:
        """True if something is not written down yet."""
        return bool(self.owed or self.unsaved)

    def take(self, result: Result) -> None:
        """Take in a result. What is to be written down of it is owed until the workers have new work."""
        job_key, number = self.state.tasks.pop(result.key, ("", 0))
        running = self.state.active.get(job_key)
        if running is None:
            return  # a straggler of a job that was given up
        if number == FINISH or result.error is not None:
            self.owed.append((running, number, result))
            return
        try:
            made = SegmentResult.read(result.value)
        except OptionError as error:
            self.owed.append((running, number, Result(key=result.key, error=_no_answer(error))))
            return
        running.progress, action = step(running.progress, Ended(number=number), self.state.policy)
        if action is None:
            return
        running.results[number] = made
        running.made += made.frames
        work = running.job.orders.cost * made.frames / max(1, running.job.frames)
        self.work += work
        if self.deadline:
            self.deadline.done += work
        self.unsaved.append((running, number, made))
        if made.no_card and made.machine not in self.without_card:
            self.without_card.add(made.machine)
            text = f"on {made.machine} the processor grades, with the same colour: {made.no_card}"
            self.state.on_event(Event(what="warning", text=text))

    def write_down(self) -> None:
        """Write down what is owed; what there is no room for stays so, and the queue pauses."""
        try:
            if self.unsaved:
                self.state.store.keep_segments(
                    (r.job.key, r.job.identity, n, made) for r, n, made in self.unsaved
                )
            saved, self.unsaved = self.unsaved, []
            for running, _, made in saved:
                self.disks.written(running.job.out)
                self.state.on_event(Event(what="segment", clip=running.job.clip, frames=made.frames))
            while self.owed:
                running, number, result = self.owed[0]
                if running.job.key in self.state.active:
                    try:
                        self.ended(running, number, result)
                    except (RushlightError, OSError):
                        raise
                    except Exception as error:
                        if running.job.key not in self.state.active:
                            raise  # the clip is settled: it is no fault of its own
                        self.drop(running.job, error, running.plan.job)
                self.owed.popleft()
            self.fault = ""
            self.disks.written("", now=True)
        except (RushlightError, OSError) as error:
            self.fault = self.short_of_room(error) or f"{error}; once it can be written to it goes on"
            self.disks.pause(self.fault)

    def short_of_room(self, error: RushlightError | OSError, running: Running | None = None) -> str:
        """Message where a disk is full, or read-only for now, and the run pauses for it; empty where it is
        not that."""
        ours = error if isinstance(error, RushlightError) else from_os(error, error.filename or "")
        if not (no_room(ours) or (isinstance(ours, ResourceError) and "read-only" in ours.text)):
            return ""
        place = Path(ours.file or self.state.store.path)
        outs = {running.job.out} if running else {r.job.out for r in self.state.active.values()}
        out = next((out for out in outs if running or place.is_relative_to(out)), "")
        return self.disks.full(out, Path(out) if out else place.parent, ours)

    def drop(self, job: QueuedJob, error: Exception, name: str = "") -> None:
        """Fail a job that leads out of its folder, or for a fault of our own in this process; the night goes on. `name` is the job's in the log."""
        out = Path(job.out)
        text = str(kept_fault(out, job.clip, own_fault(error, "recorded")))
        if name:
            record = failure_record(name, job.clip, "failed", text)
            self.log(out, with_delivered(record, self.before(out, name)))
        self.state.store.set_state(job.key, job.identity, "failed", error=text)
        self.state.active.pop(job.key, None)
        self.state.summary.failed.append((job.clip, text))
        self.state.on_event(Event(what="failed", clip=job.clip, text=text))

    def leave(self, job: QueuedJob, why: str) -> None:
        """Leave a job to what was read since. It waits for a person; what its folder has of the clip stays as it is, the log too."""
        if self.state.store.set_state(job.key, job.identity, "set aside", error=why):
            self.state.summary.set_aside.append((job.clip, why))
            self.state.on_event(Event(what="set aside", clip=job.clip, text=why))
        else:
            self.state.version = -1  # a revision of it was queued meanwhile
        self.state.active.pop(job.key, None)

    def ended(self, running: Running, number: int, result: Result) -> None:
        if result.error is not None:
            self.went_wrong(running, number, result.error)
            return
        try:
            record = _finished(result.value)
        except OptionError as error:
            self.went_wrong(running, number, _no_answer(error))
            return
        progress, action = step(running.progress, Ended(number=number), self.state.policy)
        if action is not None:
            self.finished(running, record)
        running.progress = progress

    def put_by(self, running: Running) -> None:
        """Keep what the finish will replace, until it has; where it is to be removed, that comes after."""
        out = Path(running.job.out)
        before = self.before(out, running.plan.job)
        revisions.keep(out, revisions.replaced(before, running.plan.outputs))

    def finished(self, running: Running, made: DeliveredRecord) -> None:
        job = running.job
        out = Path(job.out)
        later = bool(job.orders.later_outputs)
        if running.record is None:
            before = self.before(out, made.job)
            record = delivered_record(out, made, running, before, self.told[out])
            self.state.place.delivered(out, record)
            self.log(out, record)
            running.record = record
        self.disks.written(running.job.out)
        self.put_down(running, "done")
        self.state.summary.frames += running.frames
        remove_tree(out, f".work/{made.job}")
        if running.record.status == "done" and not later:
            self.state.summary.done.append(job.clip)
        self.state.on_event(Event(what="part" if later else "done", clip=job.clip, record=running.record))

    def log(self, out: Path, record: JobRecord) -> None:
        known = self._log_of(out)
        append_record(out, record)
        known[record.job] = record
        self.told[out].add(record)
        self.log_sizes[out] = _log_size(out)

    def before(self, out: Path, job: str) -> JobRecord | None:
        """Record of a job that the log holds."""
        return self._log_of(out).get(job)

    def _log_of(self, out: Path) -> dict[str, JobRecord]:
        """The records of a folder. Its log is read once a run, not once a clip, and again where somebody else wrote there: a list that
        was read meanwhile has bad rows, or gave files their new names."""
        size = _log_size(out)
        if out not in self.logged or self.log_sizes.get(out) != size:
            records = read_records(out)
            self.logged[out], self.told[out] = latest(records), Told(records)
            self.log_sizes[out] = size
        return self.logged[out]

    def put_down(self, running: Running, state: str, error: str = "") -> None:
        """Done with it; a revision of it that was queued meanwhile has its turn."""
        if not self.state.store.set_state(running.job.key, running.job.identity, state, error=error):
            self.state.version = -1
        self.state.active.pop(running.job.key, None)

    def went_wrong(self, running: Running, number: int, error: BaseException) -> None:
        kind: FailureKind = "lost worker" if isinstance(error, LostWorker) else failure_kind(error)
        if kind != "lost worker" and self.state.place.away(running.plan):
            self.put_down(
                running, "queued"
            )  # its media was taken away: no fault of the clip's, and it waits for that
            self.state.version = -1
            return
        full = isinstance(error, RushlightError | OSError) and bool(self.short_of_room(error, running))
        event = Failed(
            number=number,
            kind=kind,
            now=time.monotonic(),
            disk_full=full,
            disk_gone=kind != "lost worker" and self.disks.gone(running.job),
        )
        progress, action = step(running.progress, event, self.state.policy)
        if action is None:
            return
        if kind == "lost worker":
            self.state.store.count_attempt(running.job.key, death=True)
        if action.do == "again":
            self.state.on_event(
                Event(what="retry", clip=running.job.clip, text=_short(error, running.job.out))
            )
        elif action.do == "pause":
            pass  # said with the pause
        elif action.do == "plan again":
            self.put_down(running, "queued")
            self.state.summary.changed[running.job.key] = replace(running.job, payload=running.payload)
            self.state.on_event(Event(what="changed", clip=running.job.clip, text=f"{error.args[0]}"))
        else:
            self.give_up(running, action, error)
        running.progress = progress

    def give_up(self, running: Running, action: Action, error: BaseException) -> None:
        job = running.job
        out = Path(job.out)
        state: NotMade = "set aside" if action.do == "set aside" else "failed"
        error = kept_fault(out, job.clip, error) if isinstance(error, RushlightError) else error
        text = str(error) if action.do == "fail" else f"{action.why}; last: {error}"
        if running.record is None:
            before = self.before(out, running.plan.job)
            record = lost_record(out, running, before, state, text)
            self.log(out, record)
            running.record = record
        self.put_down(running, state, text)
        (self.state.summary.set_aside if state == "set aside" else self.state.summary.failed).append(
            (job.clip, text)
        )
        self.state.on_event(Event(what=state, clip=job.clip, text=text))


def _log_size(out: Path) -> int:
    try:
        return log_path(out).stat().st_size
    except OSError:
        return -1


def _short(error: BaseException, out: str) -> str:
    """Text of an error, without the long path of a working file that nobody looks for: its folder's stands
    for it."""
    if isinstance(error, RushlightError) and error.file and Path(error.file).is_relative_to(f"{out}/.work"):
        return str(type(error)(error.text, file=out))
    return str(error)


def _finished(value: object) -> DeliveredRecord:
    """The record that a finish gave. OptionError with its key for what is no record of a delivered clip."""
    record = read_record(value) if isinstance(value, dict) else None
    if not isinstance(record, DeliveredRecord):
        raise OptionError("is no record of a delivered clip")
    return record


def _no_answer(error: OptionError) -> OwnFault:
    """A worker's answer that is not what it should be costs its clip, which may not stop the night."""
    return OwnFault(f"a fault of rushlight's own: what the worker answered does not read: {error}")
