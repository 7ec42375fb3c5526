"""Running tasks somewhere: on Dask, a local cluster of spawned processes by default, or one that exists.

A task is a function named in text and JSON-able arguments; a result is a small value or an error. Retries are
the queue's, never Dask's; no more is in flight than there are slots. Every task is given to one worker, of which
is known that its versions are ours: so that a worker that joins later is asked first, one that left gives back
what it had, and one that hangs can be ended. Dask is imported when a farm is opened.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import os
import queue
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.farm.dask_cluster import STRANGERS, connected, ended, is_up, safe, started
from rushlight.batch.farm.dask_workers import Losses, Seen, Worker, fewest, frames_in, introduced, present_in
from rushlight.batch.farm.path_map import Mount, Unfit, original_there, recognisable, seen_here
from rushlight.batch.farm.scratch_folders import scratch_folder
from rushlight.batch.farm.tasks import Farm, LostWorker, Result, Task, farm_is_gone, threads_each
from rushlight.batch.farm.worker_process import BEATS, call, call_elsewhere, introduce
from rushlight.batch.records.job_record import read_record
from rushlight.pipelines.errors import OptionError, OwnFault, QueueError, RushlightError, SourceError, said
from rushlight.pipelines.library_versions import versions

if TYPE_CHECKING:
    from distributed import Client, Future, LocalCluster
    from distributed.security import Security

__all__ = ["DaskFarm", "Farm", "LostWorker", "Result", "Task", "call"]

LOOK = 0.3  # seconds between two looks at who is there
GONE = 30.0  # seconds without an answer after which the scheduler is given up
SET_BACK = 2.0  # seconds
STOOD_STILL = 5.0  # seconds between two calls of `results`
ASKED = 60.0  # seconds that a worker has to introduce itself at the start


class DaskFarm:
    """Tasks on Dask: `workers` local processes, or the workers of the scheduler at `address`, one task each.

    A worker that gets nothing done for `patience` seconds is ended, and its task given back as lost. `tell` is told
    of workers that join, leave or are refused, `gone` that the farm as a whole is lost, both on the caller's thread.
    `ahead` are modules that local workers load as they start, `cores` how many of this machine are theirs.
    """

    def __init__(
        self,
        *,
        workers: int = 1,
        address: str = "",
        security: Security | None = None,
        mounts: Sequence[Mount] = (),
        patience: float = 600.0,
        tell: Callable[[str], None] = lambda text: None,
        gone: Callable[[str], None] | None = None,
        ahead: Sequence[str] = (),
        cores: int = 0,
    ) -> None:
        self.address, self.mounts, self.patience = address, tuple(mounts), patience
        self._where, self._cores = (workers, security, tuple(ahead)), cores
        # Nothing is told of whoever is there at the start.
        self._teller: Callable[[str], None] = lambda text: None
        self._gone = gone or farm_is_gone
        self._serial = itertools.count(1)
        self._ours = versions()
        self._waiting: deque[Task] = deque()
        self._losses = Losses()
        self._news: list[str] = []
        self._open()
        self._teller = tell

    def _open(self, *, again: bool = False) -> None:
        """Start or reach the cluster, and meet everybody who is there; QueueError where one of them does not fit,
        unless this is not the first time."""
        self._inbox: queue.SimpleQueue[tuple[str, str, object]] = queue.SimpleQueue()
        self._workers: dict[tuple[str, str], Worker] = {}
        self._known: set[tuple[str, str]] = set()  # asked, at work, refused or lost: never asked twice
        self._asked: dict[str, tuple[tuple[str, str], Future]] = {}  # Dask's key -> who, future
        self._flying: dict[str, tuple[Task, Worker, Future]] = {}  # Dask's key -> task, who has it, future
        self._refused: list[str] = []
        self._there: dict[str, Seen] = {}  # the scheduler's word on its workers, by address
        self._silent = 0.0  # seconds that the scheduler has not answered
        self._looked = time.monotonic()
        self._ahead = time.time() - time.monotonic()  # of the wall's clock
        self._closing = False
        self._cluster: LocalCluster | None = None
        workers, security, ahead = self._where
        self._scratch = contextlib.ExitStack()
        if self.address:
            self._client = connected(self.address, security)
        else:
            self._cluster, self._client = self._start(workers, ahead)
        self._client.loop.add_callback(self._keep_looking, self._client)
        try:
            self._meet(again)
        except BaseException:
            self.close(now=True)
            raise

    def _start(self, workers: int, ahead: Sequence[str]) -> tuple[LocalCluster, Client]:
        with contextlib.ExitStack() as until_it_is_up:
            folder = until_it_is_up.enter_context(scratch_folder())
            cluster = started(workers, folder, ahead=ahead)
            self._scratch = until_it_is_up.pop_all()
        return cluster

    def _meet(self, again: bool) -> None:
        """Ask everybody who is there, before any work."""
        deadline = time.monotonic() + ASKED
        while not self._there or self._asked or present_in(self._there) - self._known:
            self.results(0.05)
            if time.monotonic() > deadline or (not self._there and time.monotonic() > deadline - ASKED + 5):
                break
        if again:
            return
        if self.address and self._refused:
            raise QueueError("; ".join(self._refused))
        if not self._workers:
            why = "has no workers" if not self._there else "has no worker that answers"
            raise QueueError(f"the scheduler at {self.address} {why}")

    # --- who is there

    async def _keep_looking(self, client: Client) -> None:
        """On Dask's own thread: what the scheduler says of its workers, several times a second."""
        while client is self._client and not self._closing:
            begin = time.monotonic()
            try:
                found = await asyncio.wait_for(client.scheduler.identity(n_workers=-1), 10)
                if client is self._client:
                    self._there, self._silent = found["workers"], 0.0
            except Exception:
                self._silent += min(10.0, time.monotonic() - begin) + LOOK
            await asyncio.sleep(LOOK)

    def _anew(self, back: float) -> None:
        """Start again after the clock was set back: Dask counts on it, and would stand still until it has come round.
        What was in flight is done again, and charged to nobody."""
        self._news.append(f"the clock was set back by {back:.0f} s: the workers are started again")
        self._waiting.extendleft(task for task, _, _ in reversed(self._flying.values()))
        self.close(now=True)
        try:
            self._open(again=True)
        except QueueError as error:
            self._gone(str(error))

    def _look(self, found: list[Result]) -> None:
        now = time.monotonic()
        ahead, self._ahead = self._ahead, time.time() - now
        if ahead - self._ahead > SET_BACK:
            self._anew(ahead - self._ahead)
        gap, self._looked = now - self._looked, now
        if gap > STOOD_STILL:  # we ourselves, as after Ctrl-Z: nobody is to be blamed for it
            for worker in self._workers.values():
                worker.moved += gap
        if self.address and self._silent > GONE:  # one of this process is only as slow as this machine
            self._gone(
                f"the scheduler at {self.address} has not answered for {GONE:.0f} s; what is left waits"
            )
        there = self._there
        present = present_in(there)
        for worker in list(self._workers.values()):
            if worker.who not in present:
                self._lose(worker, "the worker died or left while it ran this", found)
                self._tell(f"worker {worker.address} on {worker.machine} has left")
                continue
            beats = there[worker.address]["metrics"].get(BEATS, -1)
            if beats != worker.beats:
                worker.beats, worker.moved = beats, now
            if worker.task and now - worker.moved > self.patience:
                text = f"the worker got nothing done for {self.patience:.0f} s and was ended"
                self._end(worker)
                self._lose(worker, text, found)
                self._tell(f"worker {worker.address} on {worker.machine} got nothing done and was ended")
        for key in [key for key, (who, _) in self._asked.items() if who not in present]:
            del self._asked[key]
        for who in present - self._known:
            self._known.add(who)
            self._ask(who)
        self._place()

    def _ask(self, who: tuple[str, str]) -> None:
        address, _ = who
        if not safe(address):
            self._refuse(address, STRANGERS)
            return
        key = f"rushlight-who-{next(self._serial)}-{os.getpid()}"
        self._asked[key] = (who, self._send(key, address, introduce))

    def _refuse(self, address: str, why: str) -> None:
        self._refused.append(f"worker {address} {why}")
        self._news.append(f"worker {address} {why}; it gets no work")

    def _met(self, who: tuple[str, str], kind: str, answer: object) -> None:
        """A worker has introduced itself, or could not."""
        address, born = who
        if kind == "lost":
            return
        try:
            worker = introduced(answer, self._ours)
        except OptionError as error:
            self._refuse(address, error.text)
            return
        self._workers[who] = Worker(
            address=address, born=born, machine=worker.machine, process=worker.process
        )
        self._tell(f"worker {address} on {worker.machine} has joined; {len(self._workers)} at work")
        self._place()

    def _tell(self, text: str) -> None:
        if self.address:  # on one machine, what became of the task says it
            self._news.append(text)

    def _lose(self, worker: Worker, text: str, found: list[Result]) -> None:
        """Take a worker off the farm, and give back what it had."""
        self._workers.pop(worker.who, None)
        flown = self._flying.pop(worker.task, None)
        if flown:
            task, _, future = flown
            future.cancel()
            if self.address and self._losses.charged_already(task, worker, self._serial):
                self._waiting.appendleft(task)
            else:
                found.append(Result(key=task.key, error=LostWorker(text)))

    def _end(self, worker: Worker) -> None:
        """End a worker that hangs: by its process here, elsewhere by whoever minds it there."""
        if not self.address:
            with contextlib.suppress(OSError):
                os.kill(worker.process, signal.SIGKILL)
            return

        def end() -> None:
            with contextlib.suppress(Exception):
                self._client.restart_workers([worker.address], timeout=60, raise_for_error=False)

        threading.Thread(target=end, daemon=True, name=f"end {worker.address}").start()

    # --- tasks

    @property
    def here(self) -> bool:
        """True if the workers are processes of this machine, started for this run."""
        return not self.address

    @property
    def slots(self) -> int:
        """Workers that may work: each process does one task at a time."""
        return len(self._workers)

    def threads(self, tasks: int) -> int:
        """Threads that each of so many tasks may use; on a farm, of whichever machine's cores are fewest."""
        workers = fewest(self._workers.values()) if self.address else self._where[0]
        cores = 0 if self.address else self._cores
        return threads_each(tasks, workers=workers, cores=max(cores, workers))

    def submit(self, task: Task) -> None:
        """Start a task."""
        if self.address:
            recognisable(Path(str(task.payload["out"])))
        self._waiting.append(task)
        self._place()

    def _place(self) -> None:
        """Give waiting tasks to workers that have none."""
        if not self._waiting:
            return
        idle = [w for w in self._workers.values() if not w.task and is_up(self._cluster, w.address)]
        for worker in idle[: len(self._waiting)]:
            task = self._waiting.popleft()
            key = f"{task.key}-{next(self._serial)}"
            worker.task, worker.moved = key, time.monotonic()
            if self.address:
                future = self._send(
                    key, worker.address, call_elsewhere, task.function, task.arguments, self.mounts
                )
            else:
                future = self._send(key, worker.address, call, task.function, task.arguments)
            self._flying[key] = (task, worker, future)

    def _send(self, key: str, address: str, function: Callable[..., object], *arguments: object) -> Future:
        future = self._client.submit(
            function,
            *arguments,
            key=key,
            workers=[address],
            allow_other_workers=False,
            pure=False,
            retries=0,
        )
        future.add_done_callback(partial(self._ended, key))
        return future

    def _ended(self, key: str, future: Future) -> None:
        """On a thread of Dask's: how a future ended."""
        from distributed import KilledWorker

        try:
            if future.status == "finished":
                value = future.result()
                self._inbox.put((key, *value) if isinstance(value, tuple) else (key, "value", value))
            elif future.status == "error":
                error = future.exception()
                self._inbox.put((key, "lost" if isinstance(error, KilledWorker) else "fault", error))
            else:
                self._inbox.put((key, "cancelled", None))
        except BaseException as error:
            self._inbox.put((key, "lost", error))

    def results(self, timeout: float) -> list[Result]:
        """Results of tasks that have ended."""
        found: list[Result] = []
        self._look(found)
        try:
            self._take(*self._inbox.get(timeout=0 if found or self._news else timeout), found)
            while True:
                self._take(*self._inbox.get_nowait(), found)
        except queue.Empty:
            pass
        self._place()
        for text in self._news:
            self._teller(text)
        self._news.clear()
        return found

    def _take(self, key: str, kind: str, value: object, found: list[Result]) -> None:
        if key in self._asked:
            self._met(self._asked.pop(key)[0], kind, value)
            return
        if key not in self._flying:
            return  # what a worker did that was given up meanwhile
        task, worker, _ = self._flying[key]
        if kind == "lost":
            self._lose(worker, "the worker died while it ran this", found)
            return
        del self._flying[key]
        worker.task = ""
        if kind == "value":
            found.append(self._here_too(task, value))
        elif kind == "error" and isinstance(value, BaseException):
            found.append(Result(key=task.key, error=value))
        elif isinstance(value, Unfit):
            self._unfit(task, worker, value, found)
        elif kind == "cancelled":  # by a scheduler that went and came back
            self._waiting.appendleft(task)
        else:
            error = value if isinstance(value, BaseException) else TypeError(f"an answer of kind {kind}")
            found.append(Result(key=task.key, error=OwnFault(f"a fault of rushlight's own: {said(error)}")))

    def _here_too(self, task: Task, value: object) -> Result:
        """A result, once the files that another machine gave their final names are in sight here."""
        if not self.address or not isinstance(value, dict) or "outputs" not in value:
            return Result(key=task.key, value=value)
        try:
            record = seen_here(Path(str(task.payload["out"])), read_record(value))
        except RushlightError as error:
            return Result(key=task.key, error=error)
        return Result(key=task.key, value=record.plain())

    def _unfit(self, task: Task, worker: Worker, error: Unfit, found: list[Result]) -> None:
        """A machine does not see what it needs: its worker gets no more, and the task goes elsewhere."""
        if error.file and not original_there(error.file):  # nor do we
            found.append(Result(key=task.key, error=SourceError("is not there any more", file=error.file)))
            return
        self._workers.pop(worker.who)
        self._refuse(worker.address, f"on {worker.machine}: {error}; once it does, start the worker again")
        self._waiting.appendleft(task)

    def frames(self) -> Mapping[str, int]:
        """Frames made so far of what workers have in hand, by its token, as their heartbeats say."""
        return frames_in(self._there)

    def grow(self, workers: int) -> None:
        """Have so many workers, where they are this machine's and fewer were started; they join as they come up."""
        if self._cluster is not None and workers > self._where[0]:
            self._cluster.scale(workers)
            self._where = (workers, *self._where[1:])

    def processes(self) -> Mapping[str, int]:
        """Process numbers of the workers, by address."""
        return {worker.address: worker.process for worker in self._workers.values()}

    def close(self, *, now: bool = False) -> None:
        """End the farm."""
        self._closing = True
        ended(self._cluster, self._client, timeout=1 if now else 10, idle=not self._flying)
        self._scratch.close()
