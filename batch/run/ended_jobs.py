"""A job in hand; what the parts of a run share; and the record of one that has ended, put together with what the log holds of its clip."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from rushlight.batch.finish.stood_there import Told, stood_there, with_stood
from rushlight.batch.job_log import NotMade, clock_text, failure_record
from rushlight.batch.queue.state_machine import Policy, Progress
from rushlight.batch.queue.store import QueuedJob, Store
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord, UndeliveredRecord
from rushlight.batch.records.merged import with_delivered
from rushlight.batch.records.original import Source
from rushlight.batch.records.queue_row import QueuedPlan, SegmentResult
from rushlight.batch.records.shape import Plain
from rushlight.batch.run import revisions
from rushlight.batch.run.events import Event, Place, Summary

__all__ = ["RunState", "Running", "delivered_record", "lost_record"]


@dataclass
class Running:
    """A job in hand."""

    job: QueuedJob
    plan: QueuedPlan
    results: dict[int, SegmentResult]
    progress: Progress
    started: float = field(default_factory=time.time)
    clock: float = field(default_factory=time.monotonic)  # the same moment; the other one may be set back
    attempt: int = 0
    record: JobRecord | None = None  # once it is in the log
    made: int = 0  # frames

    @property
    def frames(self) -> int:
        """Frames that are rendered for it, as a run counts them when it begins."""
        return sum(segment.count for segment in self.plan.segments)

    @cached_property
    def payload(self) -> Plain:
        """The job as workers are sent it."""
        return self.plan.plain()

    def tries(self) -> dict[str, int | float]:
        """Attempts at a job, and their seconds."""
        return {"attempts": self.attempt, "seconds": round(time.monotonic() - self.clock, 3)}


@dataclass(kw_only=True)
class RunState:
    """State that the parts of a run share: the queue, the jobs in hand, the tasks that are out, and how it
    went so far."""

    store: Store
    policy: Policy
    place: Place
    on_event: Callable[[Event], None]
    active: dict[str, Running] = field(default_factory=dict)
    tasks: dict[str, tuple[str, int]] = field(
        default_factory=dict
    )  # task key -> job key, segment number or FINISH
    summary: Summary = field(default_factory=Summary)
    version: int = -1  # of the queue's rows as they were read last; -1 has them read again


def delivered_record(
    out: Path, made: DeliveredRecord, running: Running, before: JobRecord | None, told: Told
) -> JobRecord:
    """Record of a finish, its revision told and what it replaced put by. `told`: all that the log told of files."""
    orders = running.job.orders
    old = revisions.replaced(before, running.plan.outputs)
    record = made.model_copy(update={"replaced": []}) if made.replaced else made
    record = revisions.described(out, record, before, old, orders)
    keep = orders.replaced == "keep"
    stood = stood_there(out, made, record, told) if keep else made.replaced
    record = with_stood(out, record, before, stood, told, keep=keep)
    if not keep:
        revisions.drop(out, old)
    revisions.clear(out, old, record.outputs)
    record = revisions.joined(record, before, orders)
    moments = {"started": clock_text(running.started), "finished": clock_text(time.time())}
    record = record.model_copy(update={**running.tries(), **moments})
    if before and orders.earlier_outputs and before.status in ("failed", "set aside"):
        return JobRecord.read({**record.plain(), "status": before.status, "error": before.error})  # in part
    return record


def lost_record(
    out: Path, running: Running, before: JobRecord | None, state: NotMade, text: str
) -> UndeliveredRecord:
    """A clip that was not delivered; what was delivered of it earlier is still there, and still known."""
    plan, planned = running.plan, running.plan.record
    record = failure_record(plan.job, running.job.clip, state, text)
    known = {"row": planned.row, "recipe": planned.recipe, "signal": planned.signal}
    record = record.model_copy(update={**known, **running.tries(), "source": Source(path=plan.source.path)})
    revisions.unkeep(out, revisions.replaced(before, plan.outputs))
    return with_delivered(record, before)
