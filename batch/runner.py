"""The loop of the night: tasks out, results in, the queue and the log written. The only writer of both.

A job's segments run in order, its finish after the last; when a job has no more to give, the next one starts,
so that every worker is busy to the end.
"""

from __future__ import annotations

import os
import shutil
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from rushlight.batch.farm import Farm, LostWorker, Result, Task, WorkerFault
from rushlight.batch.fence import let_finish
from rushlight.batch.records import append_record, latest, merged, read_records
from rushlight.batch.states import DEFAULT_POLICY, Action, FailureKind, Policy, after_failure, failure_kind
from rushlight.batch.store import QueuedJob, Store
from rushlight.batch.volumes import free_bytes, size_text, volume_of
from rushlight.pipelines.errors import ResourceError

__all__ = ["Event", "Stop", "Summary", "Work", "run"]


@dataclass(frozen=True, kw_only=True)
class Work:
    """The two functions a farm runs, as `module:name`."""

    segment: str = "rushlight.pipelines.render:render_segment"
    finish: str = "rushlight.batch.finish:finish_job"


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that happened. `what`: started, segment, done, failed, set aside, retry, paused, resumed, stopping."""

    what: str
    clip: str = ""
    text: str = ""
    frames: int = 0
    record: dict[str, Any] | None = None


@dataclass
class Stop:
    """Asked to stop: 1 finish what is in hand, 2 now. `until` is a moment (time.time) after which nothing starts."""

    level: int = 0
    until: float | None = None

    @property
    def asked(self) -> bool:
        return self.level > 0 or (self.until is not None and time.time() >= self.until)


@dataclass
class Summary:
    """How a run ended, in jobs."""

    done: list[str] = field(default_factory=list)
    failed: list[tuple[str, str]] = field(default_factory=list)
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    left: int = 0
    frames: int = 0
    seconds: float = 0.0


@dataclass
class _Running:
    job: QueuedJob
    todo: deque[int]
    results: dict[int, dict[str, Any]]
    inflight: set[int] = field(default_factory=set)
    finishing: bool = False
    started: float = field(default_factory=time.time)
    failures: dict[FailureKind, int] = field(default_factory=dict)
    attempt: int = 0
    not_before: float = 0.0


class _Loop:
    def __init__(
        self,
        store: Store,
        farm: Farm,
        work: Work,
        on_event: Callable[[Event], None],
        stop: Stop,
        policy: Policy,
        keep_free: int,
        stay: bool,
    ) -> None:
        self.store, self.farm, self.work, self.on_event, self.stop = store, farm, work, on_event, stop
        self.policy, self.keep_free, self.stay = policy, keep_free, stay
        self.active: dict[str, _Running] = {}
        self.tasks: dict[str, tuple[str, int]] = {}  # task key -> job key, segment number (-1: the finish)
        self.queue: deque[QueuedJob] = deque()
        self.summary = Summary()
        self.paused = ""
        self.volumes: dict[str, int] = {}
        self.serial = 0
        self.logged: dict[Path, dict[str, dict[str, Any]]] = {}

    def run(self) -> Summary:
        begin = time.monotonic()
        self.store.recover()
        self.version = self.store.version()
        self.queue.extend(self.store.rows("queued"))
        stopping = False
        while self.stop.level < 2:
            if self.stop.asked and not stopping:
                stopping = True
                self.on_event(
                    Event(what="stopping", text=f"{len(self.tasks)} task(s) in hand are being finished")
                )
            if not self.stop.asked:
                self.refresh()
                self.fill()
            if not self.tasks and (self.stop.asked or self.idle()):
                break
            for result in self.farm.results(0.25):
                self.ended(result)
        for running in self.active.values():
            self.store.set_state(running.job.key, running.job.identity, "queued")
        self.summary.left = len(self.store.rows("queued", "running"))
        self.summary.seconds = time.monotonic() - begin
        return self.summary

    def idle(self) -> bool:
        return not self.active and not self.queue and not self.paused and not self.stay

    def refresh(self) -> None:
        """Take in what other processes added, held, released or dropped."""
        version = self.store.version()
        if version != self.version:
            self.version = version
            self.queue = deque(row for row in self.store.rows("queued") if row.key not in self.active)

    # --- out

    def fill(self) -> None:
        if self.tasks and self.paused:
            return
        while len(self.tasks) < self.farm.slots:
            if not self.room():
                return
            if not self.next_task():
                return

    def room(self) -> bool:
        """Whether there is disk to go on with; pauses and resumes, and says so."""
        outs = {r.job.out for r in self.active.values()} | ({self.queue[0].out} if self.queue else set())
        why = ""
        for out in outs:
            known = self.volumes.setdefault(out, volume_of(Path(out)))
            if volume_of(Path(out)) != known:
                why = f"the disk of {out} is gone; nothing is written until it is back"
            elif free_bytes(Path(out)) < self.keep_free:
                why = f"{out} has less than {size_text(self.keep_free)} free; make room and it goes on"
        if why != self.paused:
            self.on_event(Event(what="paused" if why else "resumed", text=why or "there is room again"))
            self.paused = why
        if why:
            time.sleep(0.25)
        return not why

    def next_task(self) -> bool:
        now = time.time()
        for running in self.active.values():
            if running.not_before > now:
                continue
            if running.todo:
                self.send(running, running.todo.popleft())
                return True
            if not running.inflight and not running.finishing:
                running.finishing = True
                self.send(running, -1)
                return True
        if self.queue:
            self.start(self.queue.popleft())
            return True
        return False

    def start(self, job: QueuedJob) -> None:
        if not self.store.set_state(job.key, job.identity, "running"):
            return
        self.store.count_attempt(job.key)
        results = self.store.segments(job.key, job.identity)
        numbers = [n for n in range(len(job.payload["segments"])) if n not in results]
        self.active[job.key] = _Running(
            job=job, todo=deque(numbers), results=results, attempt=job.attempts + 1
        )
        kept = sum(job.payload["segments"][n]["count"] for n in results)
        self.on_event(Event(what="started", clip=job.clip, frames=kept))

    def send(self, running: _Running, number: int) -> None:
        job = running.job
        self.serial += 1
        token = f"{os.getpid()}-{self.serial}"
        key = f"{job.payload['job']}-{number}-{token}"
        if number < 0:
            let_finish(Path(job.out), job.payload["job"], token)
            ordered = [running.results[n] for n in range(len(job.payload["segments"]))]
            task = Task(key=key, function=self.work.finish, arguments=(job.payload, ordered, token))
        else:
            running.inflight.add(number)
            task = Task(key=key, function=self.work.segment, arguments=(job.payload, number, token))
        self.tasks[key] = (job.key, number)
        self.farm.submit(task)

    # --- in

    def ended(self, result: Result) -> None:
        job_key, number = self.tasks.pop(result.key, ("", 0))
        running = self.active.get(job_key)
        if running is None:
            return  # a straggler of a job that was given up
        running.inflight.discard(number)
        if result.error is not None:
            self.went_wrong(running, number, result.error)
        elif number < 0:
            self.finished(running, result.value)
        else:
            running.results[number] = result.value
            self.store.keep_segment(job_key, running.job.identity, number, result.value)
            self.on_event(Event(what="segment", clip=running.job.clip, frames=result.value.get("frames", 0)))

    def finished(self, running: _Running, record: dict[str, Any]) -> None:
        job = running.job
        out = Path(job.out)
        keep = set(job.payload["record"].get("kept_outputs", ()))
        if keep:
            record = merged(record, self.before(out, record["job"]), keep)
        record |= {
            "attempts": running.attempt,
            "seconds": round(time.time() - running.started, 3),
            "started": _clock(running.started),
            "finished": _clock(time.time()),
        }
        append_record(out, record)
        self.store.set_state(job.key, job.identity, "done")
        self.forget(job)
        shutil.rmtree(out / ".work" / record["job"], ignore_errors=True)
        self.summary.done.append(job.clip)
        self.summary.frames += record["frames"]
        self.on_event(Event(what="done", clip=job.clip, record=record))

    def before(self, out: Path, job: str) -> dict[str, Any] | None:
        """What the log held of a job when this run first asked: the log is read once a run, not once a clip."""
        if out not in self.logged:
            self.logged[out] = latest(read_records(out))
        return self.logged[out].get(job)

    def forget(self, job: QueuedJob) -> None:
        """Done with it; a revision of it that was queued meanwhile has its turn."""
        del self.active[job.key]
        self.version = -1

    def went_wrong(self, running: _Running, number: int, error: BaseException) -> None:
        kind: FailureKind = "lost worker" if isinstance(error, LostWorker) else failure_kind(error)
        if isinstance(error, WorkerFault):
            kind = "fault"
        running.failures[kind] = running.failures.get(kind, 0) + 1
        if kind == "lost worker":
            self.store.count_attempt(running.job.key, death=True)
        full = isinstance(error, ResourceError) and ("space" in error.text or "quota" in error.text)
        action = after_failure(kind, running.failures[kind], disk_full=full, policy=self.policy)
        if action.do in ("again", "pause"):
            if number < 0:
                running.finishing = False
            else:
                running.todo.appendleft(number)
            running.not_before = time.time() + action.wait
            self.on_event(Event(what="retry", clip=running.job.clip, text=f"{error}"))
        else:
            self.give_up(running, action, error)

    def give_up(self, running: _Running, action: Action, error: BaseException) -> None:
        job = running.job
        state = "set aside" if action.do == "set aside" else "failed"
        text = str(error) if action.do == "fail" else f"{action.why}; last: {error}"
        record = failure_record(job.payload["job"], job.clip, state, text)
        record |= {k: job.payload["record"].get(k) for k in ("row", "recipe", "signal")}
        record |= {"attempts": running.attempt, "seconds": round(time.time() - running.started, 3)}
        record["source"] = {"path": job.payload["source"]["path"]}
        before = self.before(Path(job.out), job.payload["job"])
        if before:
            keep = set(job.payload["record"].get("kept_outputs", ()))
            record["outputs"] = [e for e in before.get("outputs", ()) if e["output"] in keep]
        append_record(Path(job.out), record)
        self.store.set_state(job.key, job.identity, state, error=text)
        self.forget(job)
        (self.summary.set_aside if state == "set aside" else self.summary.failed).append((job.clip, text))
        self.on_event(Event(what=state, clip=job.clip, text=text))


def failure_record(job: str, clip: str, status: str, error: str) -> dict[str, Any]:
    """The record of a clip that was not delivered."""
    return {
        "schema": "rushlight-job-1",
        "job": job,
        "clip": clip,
        "status": status,
        "error": error,
        "frames": 0,
        "source": {},
        "look": {},
        "outputs": [],
        "colour": {"digest": ""},
        "warnings": [],
        "seconds": 0.0,
        "finished": _clock(time.time()),
    }


def _clock(moment: float) -> str:
    return datetime.fromtimestamp(moment).astimezone().isoformat(timespec="seconds")


def run(
    store: Store,
    farm: Farm,
    *,
    work: Work | None = None,
    on_event: Callable[[Event], None] = lambda event: None,
    stop: Stop | None = None,
    policy: Policy = DEFAULT_POLICY,
    keep_free: int = 1_000_000_000,
    stay: bool = False,
) -> Summary:
    """Run the queue until it is empty or a stop is asked for; with `stay`, until a stop is asked for.

    Jobs that other processes add join in. The caller holds the queue's lock (`run_alone`)."""
    return _Loop(store, farm, work or Work(), on_event, stop or Stop(), policy, keep_free, stay).run()
