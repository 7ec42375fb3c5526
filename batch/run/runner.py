"""The loop of the night: tasks out, results in, the queue and the log written. The only writer of both.

A job's segments run in order, its finish after the last; when a job has no more to give, the next one starts,
so that every worker is busy to the end.
"""

from __future__ import annotations

import os
import time
from collections import deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from rushlight.batch.disks import free_bytes, mount_of, size_text
from rushlight.batch.error_log import kept_fault
from rushlight.batch.farm.dask_farm import Farm, LostWorker, Result, Task
from rushlight.batch.job_log import append_record, failure_record, latest, read_records
from rushlight.batch.plan.jobs import all_there
from rushlight.batch.queue.ownership import check_job
from rushlight.batch.queue.queue_rows import DamagedRow
from rushlight.batch.queue.states import (
    DEFAULT_POLICY,
    FINISH,
    Action,
    Ended,
    Failed,
    FailureKind,
    Policy,
    Progress,
    SlotFree,
    failure_kind,
    step,
)
from rushlight.batch.queue.store import QueuedJob, Store
from rushlight.batch.run import revisions
from rushlight.batch.run.events import Event, Place, Stop, Summary, Work, stopping_text
from rushlight.batch.run.finish_token import let_finish
from rushlight.batch.run.forecast import Deadline
from rushlight.batch.run.outcomes import Running, delivered_record, lost_record
from rushlight.pipelines.errors import (
    OutsideError,
    ResourceError,
    RushlightError,
    from_os,
    no_room,
    own_fault,
)
from rushlight.pipelines.inside_folder import remove_tree

__all__ = ["Event", "Place", "Stop", "Summary", "Work", "run"]

DESERTED = 60.0  # seconds without a worker after which that is said
NOBODY = "no worker is left that can work; it goes on when one joins"


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
        place: Place,
        deadline: Deadline | None,
    ) -> None:
        self.store, self.farm, self.work, self.on_event, self.stop = store, farm, work, on_event, stop
        self.policy, self.keep_free, self.stay, self.place = policy, keep_free, stay, place
        self.deadline, self.looked = deadline, 0.0
        self.active: dict[str, Running] = {}
        self.tasks: dict[str, tuple[str, int]] = {}  # task key -> job key, segment number or FINISH
        self.queue: deque[QueuedJob] = deque()
        self.summary = Summary()
        self.paused = ""
        self.unsaved: list[
            tuple[Running, int, dict[str, Any]]
        ] = []  # segments that are not in the queue's file yet
        self.owed: deque[tuple[Running, int, Result]] = deque()  # finishes and failures, neither
        self.fault = ""  # why they could not be written down
        self.retry_at = 0.0  # nothing is given out before
        self.claimed: set[str] = set()
        self.refused: dict[str, float] = {}  # output folder -> when to ask again
        self.serial = 0
        self.manned = time.monotonic()  # when there was last a worker
        self.logged: dict[Path, dict[str, dict[str, Any]]] = {}

    def run(self) -> Summary:
        begin = time.monotonic()
        self.version, recovered = -1, False
        stopping = False
        while not self.stop.due:
            if self.stop.asked and not stopping:
                stopping = True
                self.on_event(Event(what="stopping", text=stopping_text(self.stop, len(self.tasks))))
            if not self.stop.asked and time.monotonic() >= self.retry_at:
                try:
                    recovered = recovered or self.store.recover() >= 0
                    self.refresh()
                    self.fill()
                except (RushlightError, OSError) as error:  # a disk that fails, a share whose server is away
                    self.pause(f"{error}; it is tried again")
                    self.version, self.retry_at = -1, time.monotonic() + self.policy.resource_wait / 3
            self.write_down()  # the workers have new work by now: nobody waits for the disk
            owing = self.owed or self.unsaved
            if not self.tasks and not owing and (self.stop.asked or self.idle()):
                break
            for result in self.farm.results(0.25):
                self.take(result)
            self.foresee()
        self.write_down()
        with suppress(ResourceError):  # no room: the next run finds them running, and takes them up as well
            for running in self.active.values():
                self.store.set_state(running.job.key, running.job.identity, "queued")
        self.summary.left = self.store.count("queued", "running")
        self.summary.seconds = time.monotonic() - begin
        return self.summary

    def idle(self) -> bool:
        if self.active or self.queue or self.paused:
            return False
        self.place.idle()
        self.claimed.clear()
        return not self.stay or bool(self.summary.changed)

    def refresh(self) -> None:
        """Take in what other processes added, held, released or dropped."""
        version = self.store.version()
        if version != self.version:
            self.version = version
            changed = self.summary.changed
            self.queue = deque(
                row
                for row in self.store.rows("queued")
                if row.key not in self.active
                and (row.key not in changed or changed[row.key].identity != row.identity)
            )

    def foresee(self) -> None:
        """Say so where what should be ready by a moment will not be."""
        if self.deadline is None or abs(time.time() - self.looked) < 1:
            return
        self.looked = time.time()
        work = [(r.job.clip, r.job.cost * (1 - r.made / max(1, r.job.frames))) for r in self.active.values()]
        work += [(job.clip, job.cost) for job in self.queue]
        if news := self.deadline.look(work, workers=self.farm.slots, now=self.looked):
            what, found = news
            facts = found.document() | {"measured": self.deadline.measured}
            self.on_event(Event(what=what, text=found.text(), facts=facts))

    # --- out

    def fill(self) -> None:
        self.manned = time.monotonic() if self.farm.slots else self.manned
        if time.monotonic() - self.manned > DESERTED and (self.active or self.queue):
            self.pause(NOBODY)
        if self.tasks and self.paused not in ("", NOBODY):
            return
        while len(self.tasks) < self.farm.slots:
            if not self.room():
                return
            if not self.next_task():
                return

    def room(self) -> bool:
        """Whether there is disk to go on with; pauses and resumes, and says so."""
        why = self.fault
        for job in [r.job for r in self.active.values()] + list(self.queue)[:1]:
            if self.gone(job):
                why = f"the disk of {job.out} is gone; nothing is written until it is back"
            elif free_bytes(Path(job.out)) < self.keep_free:
                why = f"{job.out} has less than {size_text(self.keep_free)} free; make room and it goes on"
        self.pause(why)
        return not why

    def pause(self, why: str) -> None:
        if why != self.paused:
            self.on_event(Event(what="paused" if why else "resumed", text=why or "it goes on"))
            self.paused = why
        if why:
            time.sleep(0.25)

    def gone(self, job: QueuedJob) -> bool:
        """Whether another disk lies under a job's folder than when it was queued, such as the system's after an unmount."""
        out = Path(job.out)
        try:
            away = bool(job.mount) and mount_of(out) != job.mount
            return away or (job.out in self.claimed and not out.is_dir())
        except OSError:  # a share whose server is away
            return True

    def next_task(self) -> bool:
        event = SlotFree(now=time.monotonic())
        for running in list(self.active.values()):
            running.progress, action = step(running.progress, event, self.policy)
            if action is not None:
                try:
                    self.send(running, action.number)
                except OSError as error:  # no room for what goes before a finish
                    self.went_wrong(running, action.number, from_os(error, running.job.out))
                except Exception as error:
                    self.went_wrong(running, action.number, own_fault(error, "given out"))
                return True
        job = next((job for job in list(self.queue) if self.may_start(job)), None)
        if job is None:
            return False
        self.queue.remove(job)
        try:
            self.start(job)
        except DamagedRow as error:
            self.drop(job, error)
        except Exception as error:
            if isinstance(error, RushlightError | OSError) and not isinstance(error, OutsideError):
                raise
            self.drop(job, error)
        return True

    def may_start(self, job: QueuedJob) -> bool:
        """Whether nobody else renders into its folder, and no other part of its clip is being made."""
        if any(r.job.clip_key == job.clip_key for r in self.active.values()):
            return False
        if job.out in self.claimed:
            return True
        if self.refused.get(job.out, 0.0) > time.monotonic():
            return False
        try:
            who = self.place.claim(Path(job.out))
        except OutsideError as error:
            self.queue.remove(job)
            self.drop(job, error)
            return False
        if who:
            if job.out not in self.refused:
                self.on_event(Event(what="waiting", text=who))
            self.refused[job.out] = time.monotonic() + 3
            return False
        self.claimed.add(job.out)
        self.logged.pop(Path(job.out), None)
        return True

    def start(self, job: QueuedJob) -> None:
        payload = self.store.payload(job.key, job.identity)
        if payload is None or not self.store.set_state(job.key, job.identity, "running"):
            return
        out = Path(job.out)
        check_job(payload, job.out)
        if all_there(out, payload.get("outputs", ()), self.before(out, payload["job"])):
            self.store.set_state(job.key, job.identity, "done")
            self.on_event(Event(what="there", clip=job.clip))
            return
        self.store.count_attempt(job.key)
        results = self.store.segments(job.key, job.identity)
        self.active[job.key] = Running(
            job=job,
            payload=payload,
            results=results,
            progress=Progress(
                todo=tuple(n for n in range(len(payload["segments"])) if n not in results),
                failures={"lost worker": job.deaths},
            ),
            attempt=job.attempts + 1,
        )
        kept = self.active[job.key].made = sum(payload["segments"][n]["count"] for n in results)
        self.on_event(Event(what="started", clip=job.clip, frames=kept))

    def send(self, running: Running, number: int) -> None:
        payload = running.payload
        self.serial += 1
        token = f"{os.getpid()}-{self.serial}"
        key = f"{payload['job']}-{number}-{token}"
        if number == FINISH:
            let_finish(Path(running.job.out), payload["job"], token)
            self.put_by(running)
            ordered = [running.results[n] for n in range(len(payload["segments"]))]
            task = Task(key=key, function=self.work.finish, arguments=(payload, ordered, token))
        else:
            task = Task(key=key, function=self.work.segment, arguments=(payload, number, token))
        self.tasks[key] = (running.job.key, number)
        self.farm.submit(task)

    # --- in

    def take(self, result: Result) -> None:
        """Take in a result. What is to be written down of it is owed until the workers have new work."""
        job_key, number = self.tasks.pop(result.key, ("", 0))
        running = self.active.get(job_key)
        if running is None:
            return  # a straggler of a job that was given up
        if number == FINISH or result.error is not None:
            self.owed.append((running, number, result))
            return
        running.progress, action = step(running.progress, Ended(number=number), self.policy)
        if action is None:
            return
        frames = result.value.get("frames", 0)
        running.results[number] = result.value
        running.made += frames
        if self.deadline:
            self.deadline.done += running.job.cost * frames / max(1, running.job.frames)
        self.unsaved.append((running, number, result.value))

    def write_down(self) -> None:
        """Write down what is owed; what there is no room for stays so, and the queue pauses."""
        try:
            if self.unsaved:
                self.store.keep_segments(
                    (r.job.key, r.job.identity, n, value) for r, n, value in self.unsaved
                )
            saved, self.unsaved = self.unsaved, []
            for running, _, value in saved:
                self.on_event(Event(what="segment", clip=running.job.clip, frames=value.get("frames", 0)))
            while self.owed:
                running, number, result = self.owed[0]
                if running.job.key in self.active:
                    try:
                        self.ended(running, number, result)
                    except (RushlightError, OSError):
                        raise
                    except Exception as error:
                        if running.job.key not in self.active:
                            raise  # the clip is settled: it is no fault of its own
                        self.drop(running.job, error, running.payload["job"])
                self.owed.popleft()
            self.fault = ""
        except (RushlightError, OSError) as error:
            self.fault = f"{error}; once it can be written to it goes on"
            self.pause(self.fault)

    def drop(self, job: QueuedJob, error: Exception, name: str = "") -> None:
        """Fail a job that leads out of its folder, or for a fault of our own in this process; the night goes on. `name` is the job's in the log."""
        out = Path(job.out)
        text = str(kept_fault(out, job.clip, own_fault(error, "recorded")))
        if name:
            self.log(out, failure_record(name, job.clip, "failed", text))
        self.store.set_state(job.key, job.identity, "failed", error=text)
        self.active.pop(job.key, None)
        self.summary.failed.append((job.clip, text))
        self.on_event(Event(what="failed", clip=job.clip, text=text))

    def ended(self, running: Running, number: int, result: Result) -> None:
        if result.error is not None:
            self.went_wrong(running, number, result.error)
            return
        progress, action = step(running.progress, Ended(number=number), self.policy)
        if action is not None:
            self.finished(running, result.value)
        running.progress = progress

    def put_by(self, running: Running) -> None:
        """Keep what the finish will replace, where that was asked."""
        out = Path(running.job.out)
        before = self.before(out, running.payload["job"])
        if running.payload["record"].get("replaced") != "remove":
            revisions.keep(out, revisions.replaced(before, running.payload.get("outputs", ())))

    def finished(self, running: Running, record: dict[str, Any]) -> None:
        job = running.job
        out = Path(job.out)
        later = bool(running.payload["record"].get("later_outputs"))
        if running.record is None:
            before = self.before(out, record["job"])
            record = delivered_record(out, record, running.payload, before, running.tries(), running.started)
            self.place.delivered(out, record)
            self.log(out, record)
            running.record = record
        self.put_down(running, "done")
        remove_tree(out, f".work/{record['job']}")
        if running.record["status"] == "done" and not later:
            self.summary.done.append(job.clip)
            self.summary.frames += record["frames"]
        self.on_event(Event(what="part" if later else "done", clip=job.clip, record=running.record))

    def log(self, out: Path, record: dict[str, Any]) -> None:
        append_record(out, record)
        self.logged.setdefault(out, {})[record["job"]] = record

    def before(self, out: Path, job: str) -> dict[str, Any] | None:
        """What the log holds of a job: the log is read once a run, not once a clip, since nobody else writes there."""
        if out not in self.logged:
            self.logged[out] = latest(read_records(out))
        return self.logged[out].get(job)

    def put_down(self, running: Running, state: str, error: str = "") -> None:
        """Done with it; a revision of it that was queued meanwhile has its turn."""
        if not self.store.set_state(running.job.key, running.job.identity, state, error=error):
            self.version = -1
        self.active.pop(running.job.key, None)

    def went_wrong(self, running: Running, number: int, error: BaseException) -> None:
        kind: FailureKind = "lost worker" if isinstance(error, LostWorker) else failure_kind(error)
        full = no_room(error) or (isinstance(error, ResourceError) and "read-only" in error.text)
        event = Failed(
            number=number,
            kind=kind,
            now=time.monotonic(),
            disk_full=full,
            disk_gone=kind != "lost worker" and self.gone(running.job),
        )
        progress, action = step(running.progress, event, self.policy)
        if action is None:
            return
        if kind == "lost worker":
            self.store.count_attempt(running.job.key, death=True)
        if action.do in ("again", "pause"):
            self.on_event(Event(what="retry", clip=running.job.clip, text=f"{error}"))
        elif action.do == "plan again":
            self.put_down(running, "queued")
            self.summary.changed[running.job.key] = replace(running.job, payload=running.payload)
            self.on_event(Event(what="changed", clip=running.job.clip, text=f"{error.args[0]}"))
        else:
            self.give_up(running, action, error)
        running.progress = progress

    def give_up(self, running: Running, action: Action, error: BaseException) -> None:
        job = running.job
        out = Path(job.out)
        state = "set aside" if action.do == "set aside" else "failed"
        error = kept_fault(out, job.clip, error) if isinstance(error, RushlightError) else error
        text = str(error) if action.do == "fail" else f"{action.why}; last: {error}"
        if running.record is None:
            before = self.before(out, running.payload["job"])
            record = lost_record(out, job.clip, running.payload, before, running.tries(), state, text)
            self.log(out, record)
            running.record = record
        self.put_down(running, state, text)
        (self.summary.set_aside if state == "set aside" else self.summary.failed).append((job.clip, text))
        self.on_event(Event(what=state, clip=job.clip, text=text))


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
    place: Place | None = None,
    changed: Mapping[str, QueuedJob] | None = None,
    deadline: Deadline | None = None,
) -> Summary:
    """Run the queue until it is empty or a stop is asked for; with `stay`, until a stop is asked for.

    Jobs that other processes add join in. It also ends when only jobs are left whose originals have changed since
    they were planned, or had in a run before (`changed`): the caller plans those again. The caller holds the queue's lock (`run_alone`)."""
    work, stop, place = work or Work(), stop or Stop(), place or Place()
    loop = _Loop(store, farm, work, on_event, stop, policy, keep_free, stay, place, deadline)
    loop.summary.changed.update(changed or {})
    return loop.run()
