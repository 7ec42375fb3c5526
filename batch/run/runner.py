"""The loop of the night: tasks out (feeding.py), results in (delivery.py), the disks watched (disk_room.py)."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from contextlib import suppress

from rushlight.batch.farm.tasks import Farm
from rushlight.batch.queue.state_machine import DEFAULT_POLICY, FINISH, Policy
from rushlight.batch.queue.store import QueuedJob, Store
from rushlight.batch.run.delivery import Delivery
from rushlight.batch.run.disk_room import Disks
from rushlight.batch.run.ended_jobs import RunState
from rushlight.batch.run.events import (
    CHECKING,
    RENDERING,
    Event,
    Phase,
    Place,
    Stop,
    Summary,
    Work,
    phase,
    stopping_text,
)
from rushlight.batch.run.feeding import Feeding
from rushlight.batch.run.forecast import Deadline, speed
from rushlight.pipelines.errors import ResourceError, RushlightError

EVERY = 2.0  # seconds between two words on how far it is

__all__ = ["Event", "Place", "Stop", "Summary", "Work", "run"]


class _Progress:
    """Tells how far a run is: frames as they are made, each clip's share, and the end by the speed so far."""

    def __init__(self, state: RunState, farm: Farm, delivery: Delivery, feeding: Feeding) -> None:
        self.state, self.farm, self.delivery, self.feeding = state, farm, delivery, feeding
        self.begun = self.told = time.monotonic()
        self.checking = False

    def tell(self) -> None:
        """Say so, every few seconds at most, while there is something in hand."""
        now = time.monotonic()
        if not self.state.active or now - self.told < EVERY:
            return
        self.told = now
        if self._only_finishes():
            self._check()
            return
        self.checking = False
        live, clips, done, left = self._live(), [], self.delivery.work, 0.0
        for running in self.state.active.values():
            job = running.job
            made = min(job.frames, running.made + live.get(job.key, 0))
            share = made / max(1, job.frames)
            clips.append((job.clip, made, job.frames))
            done += job.orders.cost * (share - running.made / max(1, job.frames))
            left += job.orders.cost * (1 - share)
        left += sum(job.orders.cost for job in self.feeding.queue)
        rate = speed(done, now - self.begun, float(self.farm.slots))
        ends = time.time() + left / rate if rate > 0 else None
        phase = Phase(name=RENDERING, done=0, total=0, ends=ends, clips=tuple(clips))
        self.state.on_event(Event(what="phase", frames=sum(live.values()), phase=phase))

    def _live(self) -> dict[str, int]:
        """Frames made of segments that are in hand, by job."""
        made, found = self.farm.frames(), dict[str, int]()
        for key, (job, number) in self.state.tasks.items():
            if number != FINISH:
                token = "-".join(key.rsplit("-", 2)[1:])
                found[job] = found.get(job, 0) + made.get(token, 0)
        return found

    def _only_finishes(self) -> bool:
        return not self.feeding.queue and all(number == FINISH for _, number in self.state.tasks.values())

    def _check(self) -> None:
        summary, left = self.state.summary, len(self.state.active)
        done = len(summary.done) + len(summary.failed) + len(summary.set_aside)
        text = "" if self.checking else "checking what was made"
        self.checking = True
        self.state.on_event(phase(CHECKING, done, done + left, text=text))


class _Loop:
    def __init__(
        self,
        state: RunState,
        farm: Farm,
        stop: Stop,
        disks: Disks,
        delivery: Delivery,
        feeding: Feeding,
        deadline: Deadline | None,
        *,
        stay: bool,
    ) -> None:
        self.state, self.farm, self.stop, self.stay = state, farm, stop, stay
        self.disks, self.delivery, self.feeding = disks, delivery, feeding
        self.deadline, self.looked = deadline, 0.0
        self.progress = _Progress(state, farm, delivery, feeding)
        self.retry_at = 0.0  # nothing is given out before

    def run(self) -> Summary:
        begin = time.monotonic()
        recovered = stopping = False
        while not self.stop.due:
            if self.stop.asked and not stopping:
                stopping = True
                self.state.on_event(
                    Event(what="stopping", text=stopping_text(self.stop, len(self.state.tasks)))
                )
            if not self.stop.asked and time.monotonic() >= self.retry_at:
                try:
                    recovered = recovered or self.state.store.recover() >= 0
                    self.feeding.refresh()
                    self.feeding.fill()
                except (RushlightError, OSError) as error:  # a disk that fails, a share whose server is away
                    self.disks.pause(self.delivery.short_of_room(error) or f"{error}; it is tried again")
                    self.state.version, self.retry_at = (
                        -1,
                        time.monotonic() + self.state.policy.resource_wait / 3,
                    )
            self.delivery.write_down()  # the workers have new work by now: nobody waits for the disk
            if not self.state.tasks and not self.delivery.owing and (self.stop.asked or self.idle()):
                break
            for result in self.farm.results(0.25):
                self.delivery.take(result)
            self.foresee()
            self.progress.tell()
        self.delivery.write_down()
        with suppress(ResourceError):  # no room: the next run finds them running, and takes them up as well
            for running in self.state.active.values():
                self.state.store.set_state(running.job.key, running.job.identity, "queued")
        self.state.summary.left = self.state.store.count("queued", "running")
        self.state.summary.seconds = time.monotonic() - begin
        return self.state.summary

    def idle(self) -> bool:
        if self.state.active or self.feeding.busy or self.disks.paused:
            return False
        if self.state.version == -1:  # a revision of what has just ended was queued meanwhile
            return False
        self.state.place.idle()
        self.disks.claimed.clear()
        return not self.stay or bool(self.state.summary.changed)

    def foresee(self) -> None:
        """Say so where what should be ready by a moment will not be."""
        if self.deadline is None or abs(time.time() - self.looked) < 1:
            return
        self.looked = time.time()
        work = [
            (r.job.clip, r.job.orders.cost * (1 - r.made / max(1, r.job.frames)))
            for r in self.state.active.values()
        ]
        work += [(job.clip, job.orders.cost) for job in self.feeding.queue]
        if news := self.deadline.look(work, workers=self.farm.slots, now=self.looked):
            what, found = news
            self.state.on_event(Event(what=what, text=found.text(), forecast=found))


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
    state = RunState(store=store, policy=policy, place=place or Place(), on_event=on_event)
    state.summary.changed.update(changed or {})
    disks = Disks(on_event, keep_free)
    delivery = Delivery(state, disks, deadline)
    feeding = Feeding(state, farm, work or Work(), disks, delivery)
    try:
        return _Loop(state, farm, stop or Stop(), disks, delivery, feeding, deadline, stay=stay).run()
    finally:
        feeding.comparing.close()
