"""Every worker busy to the end of the night: the real loop over simulated workers, in simulated time."""

import heapq
import os
import random
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from recorded import recorded
from rushlight.batch.farm.dask_farm import Result, Task
from rushlight.batch.queue.store import QueuedJob, open_store
from rushlight.batch.run.runner import run

SEGMENT = 4.0  # seconds that a segment of two takes
FINISH = 0.02  # of all its segments, what a clip's finish takes


class Simulated:
    """So many workers, each as fast as it is; nothing is done, and time is what the tasks take."""

    def __init__(self, speeds: list[float]) -> None:
        self.idle, self.now, self.busy = dict(enumerate(speeds)), 0.0, 0.0
        self.slots = len(speeds)
        self.speeds = speeds
        self.running: list[tuple[float, int, Task]] = []
        self.last = dict.fromkeys(self.idle, 0.0)

    def threads(self, tasks: int) -> int:
        return 1

    def submit(self, task: Task) -> None:
        worker = min(self.idle)
        del self.idle[worker]
        segments = task.arguments[0]["segments"]
        takes = SEGMENT if isinstance(task.arguments[1], int) else FINISH * SEGMENT * len(segments)
        takes /= self.speeds[worker]
        self.busy += takes
        self.last[worker] = self.now + takes
        heapq.heappush(self.running, (self.now + takes, worker, task))

    def results(self, timeout: float) -> list[Result]:
        if not self.running:
            return []
        self.now, worker, task = heapq.heappop(self.running)
        self.idle[worker] = self.speeds[worker]
        if isinstance(task.arguments[1], int):
            return [Result(key=task.key, value={"index": task.arguments[1], "frames": 1, "files": []})]
        job = task.arguments[0]["job"]
        return [Result(key=task.key, value=recorded(job, frames=1))]

    def frames(self) -> dict[str, int]:
        return {}

    def close(self, *, now: bool = False) -> None:
        pass


def queued(out: Path, name: str, segments: int) -> QueuedJob:
    plain = {"job": name, "out": str(out), "source": {"path": name}, "record": {}}
    return QueuedJob(
        key=name,
        out=str(out),
        clip=name,
        state="queued",
        priority=0,
        identity="i",
        frames=segments,
        added=0.0,
        payload={**plain, "segments": [{"index": n, "count": 1} for n in range(segments)]},
    )


CREWS = [
    pytest.param([1.0] * 8, id="8"),
    pytest.param([1.0] * 2, id="2", marks=pytest.mark.slow),
    pytest.param([1.0] * 16 + [0.5] * 8, id="24 mixed", marks=pytest.mark.slow),
]


@pytest.fixture
def memory(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory, where the machine has one: thousands of transactions, and the disk is none of the matter."""
    if not os.access("/dev/shm", os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(prefix="rushlight-tail-", dir="/dev/shm") as folder:
        yield Path(folder)


@pytest.mark.parametrize("speeds", CREWS)
def test_the_tail_is_small(memory: Path, speeds: list[float]) -> None:
    """Eighty clips of 10 s to 10 min, most of them short: at the end workers wait for less than a hundredth of the
    night, and the last ones to end are no further apart than one clip's finish and a segment."""
    dice = random.Random(7)
    lengths = [round(5 * 60 ** dice.random() ** 2) for _ in range(80)]
    farm = Simulated(speeds)
    with open_store(memory / "q.sqlite") as store:
        store.run_alone()
        store.add(queued(memory, f"c{n:02}", length) for n, length in enumerate(lengths))
        summary = run(store, farm, keep_free=0)  # type: ignore[arg-type]
    assert len(summary.done) == 80
    idle = sum(farm.now - last for last in farm.last.values())
    share = 1 - farm.busy / (farm.now * len(speeds))
    print(f"{len(speeds)} workers: {farm.now:.0f} s, idle {share:.2%}, last {idle / len(speeds):.1f} s each")
    assert share < 0.01
    slowest = min(speeds)
    assert (
        farm.now - min(farm.last.values())
        <= (SEGMENT + FINISH * SEGMENT * min(lengths)) / slowest + 2 * SEGMENT
    )
