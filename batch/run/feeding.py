"""Tasks out: the next thing to do for every worker that has nothing.

A job's segments go out in order, its finish after the last; when a job has no more to give, the next one starts, so that
every worker is busy to the end.
"""

from __future__ import annotations

import os
import time
from collections import deque
from contextlib import suppress
from itertools import islice
from pathlib import Path

from rushlight.batch.check.compare_ahead import CompareAhead
from rushlight.batch.farm.tasks import Farm, Task
from rushlight.batch.queue.finish_token import let_finish
from rushlight.batch.queue.ownership import check_job
from rushlight.batch.queue.queue_rows import DamagedRow
from rushlight.batch.queue.state_machine import FINISH, Action, Progress, SlotFree, step
from rushlight.batch.queue.store import QueuedJob
from rushlight.batch.records.queue_row import PlannedRecord
from rushlight.batch.run.delivery import Delivery
from rushlight.batch.run.disk_room import Disks
from rushlight.batch.run.ended_jobs import Running, RunState
from rushlight.batch.run.events import PREPARING, Event, Work, phase
from rushlight.batch.what_is_there import all_there
from rushlight.pipelines.errors import (
    OptionError,
    OutsideError,
    RushlightError,
    SourceError,
    from_os,
    own_fault,
)

__all__ = ["Feeding"]

SEGMENT = 48  # frames of a segment at 24 a second, the fewest that any has
MEDIA = 3.0  # seconds between two looks for media that is away
DESERTED = 60.0  # seconds without a worker after which that is said
NOBODY = "no worker is left that can work; it goes on when one joins"


class Feeding:
    """Keeps the workers busy: starts jobs of the queue, and gives out their tasks."""

    def __init__(self, state: RunState, farm: Farm, work: Work, disks: Disks, delivery: Delivery) -> None:
        self.state, self.farm, self.work, self.disks, self.delivery = state, farm, work, disks, delivery
        self.queue: deque[QueuedJob] = deque()
        self.refused: dict[str, float] = {}  # output folder -> when to ask again
        self.barred = set[str]()  # output folders that this run may not take at all: their jobs stay queued
        self.away: dict[str, float] = {}  # job whose original is not there -> when to look again
        self.missed = set[str]()  # what was said of those
        self.serial = 0
        self.comparing = CompareAhead()
        self.manned = time.monotonic()  # when there was last a worker

    @property
    def busy(self) -> bool:
        """True if there is more to start than clips that wait for their media."""
        return any(job.key not in self.away for job in self.queue)

    def refresh(self) -> None:
        """Take in what other processes added, held, released or dropped."""
        version = self.state.store.version()
        if version != self.state.version:
            self.state.version = version
            self.comparing.forget()
            changed = self.state.summary.changed
            self.queue = deque(
                row
                for row in self.state.store.rows("queued")
                if row.key not in self.state.active
                and row.out not in self.barred
                and (row.key not in changed or changed[row.key].identity != row.identity)
            )

    def fill(self) -> None:
        self.manned = time.monotonic() if self.farm.slots else self.manned
        if time.monotonic() - self.manned > DESERTED and (self.state.active or self.queue):
            self.disks.pause(NOBODY)
        for job in islice(self.queue, 2):
            self.compared(job)
        if text := self.comparing.news():
            self.state.on_event(phase(PREPARING, 0, 0, text=text))
        while len(self.state.tasks) < self.farm.slots:
            if self.state.tasks and self.disks.paused not in ("", NOBODY):
                return
            if not self.disks.suffice(
                [*(r.job for r in self.state.active.values()), *self.ahead()], self.delivery.fault
            ):
                return
            if not self.next_task():
                return

    def ahead(self) -> list[QueuedJob]:
        """The next job of the queue whose disk is there; where none is and nothing is in hand, the next."""
        there = next((job for job in self.queue if not self.disks.gone(job)), None)
        if there:
            return [there]
        return [] if self.state.active else list(self.queue)[:1]

    def next_task(self) -> bool:
        event = SlotFree(now=time.monotonic())
        for running in list(self.state.active.values()):
            running.progress, action = step(running.progress, event, self.state.policy)
            if action is not None:
                try:
                    self.send(running, action.number)
                except OSError as error:  # no room for what goes before a finish
                    self.delivery.went_wrong(running, action.number, from_os(error, running.job.out))
                except Exception as error:
                    self.delivery.went_wrong(running, action.number, own_fault(error, "given out"))
                return True
        job = next((job for job in list(self.queue) if self.may_start(job)), None)
        if job is None:
            return False
        self.queue.remove(job)
        try:
            self.start(job)
        except DamagedRow as error:
            self.delivery.drop(job, error)
        except Exception as error:
            if isinstance(error, RushlightError | OSError) and not isinstance(error, OutsideError):
                raise
            self.delivery.drop(job, error)
        return True

    def may_start(self, job: QueuedJob) -> bool:
        """True if nobody else renders into its folder, and no other part of its clip is being made."""
        if job.out in self.barred or any(r.job.clip_key == job.clip_key for r in self.state.active.values()):
            return False
        if self.away.get(job.key, 0.0) > time.monotonic() or not self.compared(job):
            return False
        if job.out in self.disks.claimed and not self.disks.gone(job):
            return True
        if self.refused.get(job.out, 0.0) > time.monotonic():
            return False
        if self.disks.gone(job):
            text = f"the disk of {job.out} is gone; its clips wait until it is back, or their lists are added again"
            return self.refuse(job, text)
        try:
            who = self.state.place.claim(Path(job.out))
        except OutsideError as error:
            self.queue.remove(job)
            self.delivery.drop(job, error)
            return False
        except OptionError:
            self.barred.add(job.out)
            self.queue = deque(row for row in self.queue if row.out != job.out)
            return False
        if who:
            return self.refuse(job, who)
        self.disks.claimed.add(job.out)
        self.delivery.logged.pop(Path(job.out), None)
        return True

    def compared(self, job: QueuedJob) -> bool:
        """True once the original of a clip has been compared with its manifest, where one was given."""

        def planned() -> PlannedRecord | None:
            with suppress(DamagedRow):  # said once it is started, as is media that is away
                plan = self.state.store.plan(job.key, job.identity)
                return plan.record if plan and not self.state.place.away(plan) else None
            return None

        return self.comparing.ready(_name(job), planned)

    def refuse(self, job: QueuedJob, why: str) -> bool:
        """Leave the clips of a folder for a while; says so the first time. False."""
        if job.out not in self.refused:
            self.state.on_event(Event(what="waiting", text=why))
        self.refused[job.out] = time.monotonic() + 3
        return False

    def wait_for_media(self, job: QueuedJob, why: str) -> None:
        """Leave a clip for a while; says so the first time of each that is missing."""
        self.away[job.key] = time.monotonic() + MEDIA
        self.comparing.again(_name(job))
        self.queue.append(job)
        if why not in self.missed:
            self.missed.add(why)
            self.state.on_event(Event(what="waiting", text=why))

    def start(self, job: QueuedJob) -> None:
        plan = self.state.store.plan(job.key, job.identity)
        if plan is not None and (why := self.state.place.away(plan)):
            self.wait_for_media(job, why)
            return
        self.away.pop(job.key, None)
        if plan is not None and not (self.compared(job) and self.comparing.knows(_name(job))):  # just back
            self.queue.append(job)
            return
        if plan is None or not self.state.store.set_state(job.key, job.identity, "running"):
            return
        out = Path(job.out)
        check_job(plan, job.out)
        try:
            record = self.comparing.proven(_name(job), plan.record, plan.source.path)
        except SourceError as error:
            refused = Running(job=job, plan=plan, results={}, progress=Progress(todo=()))
            self.delivery.give_up(refused, Action(do="fail"), error)
            return
        plan = plan.model_copy(update={"record": record})
        if all_there(out, plan.outputs, self.delivery.before(out, plan.job)):
            self.state.store.set_state(job.key, job.identity, "done")
            self.state.on_event(Event(what="there", clip=job.clip))
            return
        if why := self.state.place.decided(job):
            self.delivery.leave(job, why)
            return
        self.state.store.count_attempt(job.key)
        results = self.state.store.segments(job.key, job.identity)
        self.state.active[job.key] = Running(
            job=job,
            plan=plan,
            results=results,
            progress=Progress(
                todo=tuple(n for n in range(len(plan.segments)) if n not in results),
                failures={"lost worker": job.deaths},
            ),
            attempt=job.attempts + 1,
        )
        kept = self.state.active[job.key].made = sum(plan.segments[n].count for n in results)
        self.state.on_event(Event(what="started", clip=job.clip, frames=kept, of=job.frames))

    def to_do(self) -> int:
        """Tasks out, the one that is being given out, and those that wait for a worker: of the queue as many as matter."""
        active = self.state.active.values()
        clips = {running.job.clip_key for running in active}
        ready = islice((job for job in self.queue if job.clip_key not in clips), self.farm.slots)
        waiting = sum(len(running.progress.todo) for running in active)
        return len(self.state.tasks) + 1 + waiting + sum(max(1, job.frames // SEGMENT) for job in ready)

    def send(self, running: Running, number: int) -> None:
        job, payload = running.plan.job, running.payload
        if number == FINISH and (why := self.state.place.decided(running.job)):
            self.delivery.leave(running.job, why)
            return
        self.serial += 1
        token = f"{os.getpid()}-{self.serial}"
        key = f"{job}-{number}-{token}"
        if number == FINISH:
            let_finish(Path(running.job.out), job, token)
            self.delivery.put_by(running)
            ordered = [running.results[n].plain() for n in range(len(running.plan.segments))]
            task = Task(key=key, function=self.work.finish, arguments=(payload, ordered, token))
        else:
            threads = self.farm.threads(self.to_do())
            lost = running.progress.failures.get("lost worker")  # of a card's driver, for all that we know
            asked = (payload, number, token, threads, "off" if lost else self.work.graphics)
            task = Task(key=key, function=self.work.segment, arguments=asked)
        self.state.tasks[key] = (running.job.key, number)
        self.farm.submit(task)


def _name(job: QueuedJob) -> str:
    """One job as it was planned."""
    return f"{job.key} {job.identity}"
