"""The workers of a Dask farm as whoever gives them tasks knows them: who is there, what they have, what their losses cost."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypedDict

from rushlight.batch.farm.tasks import Task
from rushlight.batch.farm.worker_process import FRAMES, Introduction
from rushlight.pipelines.errors import OptionError

__all__ = [
    "Losses",
    "Seen",
    "Worker",
    "fewest",
    "frames_in",
    "introduced",
    "other_versions",
    "present_in",
]


Metrics = TypedDict("Metrics", {"rushlight-beats": int, "rushlight-frames": list[object]}, total=False)


class Seen(TypedDict):
    """The scheduler's word on a worker, as far as it is of use here."""

    local_directory: str
    metrics: Metrics


@dataclass
class Worker:
    """A worker that may work. A process that comes back under the same address is another one: `born` differs."""

    address: str
    born: str
    machine: str
    process: int
    task: str = ""  # Dask's key of what it does
    beats: int = -1
    moved: float = field(default_factory=time.monotonic)  # when it was last seen to get on

    @property
    def who(self) -> tuple[str, str]:
        return self.address, self.born


def present_in(there: Mapping[str, Seen]) -> set[tuple[str, str]]:
    """Workers by address and by a folder that every process makes anew, from the scheduler's word on them."""
    return {(address, worker["local_directory"]) for address, worker in there.items()}


def fewest(workers: Iterable[Worker]) -> int:
    """Workers on the machine that has the fewest: so many cores at least are ours, wherever a task goes."""
    return min(Counter(worker.machine for worker in workers).values(), default=1)


def frames_in(there: Mapping[str, Seen]) -> dict[str, int]:
    """Frames made of each piece of work that a worker has in hand or had last, by its token, from the scheduler's word on them."""
    found: dict[str, int] = {}
    for worker in there.values():
        work = worker["metrics"].get(FRAMES)
        if isinstance(work, list | tuple) and len(work) == 2 and isinstance(work[1], int):
            found[str(work[0])] = work[1]
    return found


def introduced(answer: object, ours: Mapping[str, str]) -> Introduction:
    """A worker by its answer. OptionError saying why it gets no work."""
    cannot = "cannot work for this rushlight"
    if isinstance(answer, BaseException):
        raise OptionError(f"{cannot}: {type(answer).__name__}: {answer}")
    try:
        worker = Introduction.read(answer)
    except OptionError as error:
        raise OptionError(f"{cannot}: what it says of itself does not read: {error}") from None
    if wrong := other_versions(worker.versions, ours):
        raise OptionError(f"on {worker.machine} {wrong}")
    return worker


def other_versions(theirs: Mapping[str, str], ours: Mapping[str, str]) -> str:
    """Why a worker of these versions does not fit; empty where it does."""
    wrong = {k: v for k, v in theirs.items() if ours.get(k) != v}
    what = ", ".join(f"{k} {v} (here {ours.get(k)})" for k, v in wrong.items())
    return f"has other versions: {what}; install the same everywhere" if wrong else ""


class Losses:
    """Losses of machines, charged to the jobs whose tasks they had: a machine of many workers no more than
    one of a single."""

    def __init__(self) -> None:
        self._charged: dict[tuple[str, str], int] = {}  # machine, job -> the serial of its last charged loss

    def charged_already(self, task: Task, worker: Worker, serial: Iterator[int]) -> bool:
        """True if a machine left and took this task along with one that its job was charged for: one that was
        out when that one was lost. If not, this loss is charged. The serials number what is sent, and losses
        among them."""
        loss = worker.machine, str(task.payload["job"])
        sent = int(worker.task.rpartition("-")[2])
        if sent <= self._charged.get(loss, 0):
            return True
        self._charged[loss] = next(serial)
        return False
