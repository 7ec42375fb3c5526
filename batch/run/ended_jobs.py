"""A job in hand; what the parts of a run share; and the record of one that has ended, put together with what the log holds of its clip."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rushlight.batch.job_log import clock_text, failure_record
from rushlight.batch.queue.state_machine import Policy, Progress
from rushlight.batch.queue.store import QueuedJob, Store
from rushlight.batch.run import revisions
from rushlight.batch.run.events import Event, Place, Summary

__all__ = ["RunState", "Running", "delivered_record", "lost_record"]


@dataclass
class Running:
    """A job in hand."""

    job: QueuedJob
    payload: dict[str, Any]
    results: dict[int, dict[str, Any]]
    progress: Progress
    started: float = field(default_factory=time.time)
    clock: float = field(default_factory=time.monotonic)  # the same moment; the other one may be set back
    attempt: int = 0
    record: dict[str, Any] | None = None  # once it is in the log
    made: int = 0  # frames

    def tries(self) -> dict[str, Any]:
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
    out: Path, record: dict[str, Any], running: Running, before: Mapping[str, Any] | None
) -> dict[str, Any]:
    """Record of a finish, its revision told and what it replaced put by."""
    orders = running.job.orders
    old = revisions.replaced(before, running.payload.get("outputs", ()))
    revisions.describe(out, record, before, old, orders)
    revisions.clear(out, old, record["outputs"])
    record = revisions.joined(record, before, orders)
    moments = {"started": clock_text(running.started), "finished": clock_text(time.time())}
    record |= {**running.tries(), **moments}
    if before and orders.earlier_outputs and before["status"] in ("failed", "set aside"):
        record |= {k: before[k] for k in ("status", "error")}  # a part of it was not delivered
    return record


def lost_record(
    out: Path, running: Running, before: Mapping[str, Any] | None, state: str, text: str
) -> dict[str, Any]:
    """A clip that was not delivered; what was delivered of it earlier is still there, and still known."""
    payload = running.payload
    record = failure_record(payload["job"], running.job.clip, state, text)
    record |= {k: payload["record"].get(k) for k in ("row", "recipe", "signal")}
    record |= {**running.tries(), "source": {"path": payload["source"]["path"]}}
    if before and before.get("outputs"):
        revisions.unkeep(out, revisions.replaced(before, payload.get("outputs", ())))
        told = ("source", "look", "outputs", "colour", "revision", "reel", "first_timecode", "rate")
        record |= {k: before[k] for k in told if k in before}
    return record
