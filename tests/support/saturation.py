"""What the runner costs, measured, and at how many workers it saturates, in simulated time.

`python tests/support/saturation.py` prints both; the figures stand in docs/decisions/0024-one-runner.md.
"""

from __future__ import annotations

import heapq
import os
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

from rushlight.batch.farm.dask_farm import DaskFarm
from rushlight.batch.queue.store import QueuedJob, open_store
from rushlight.batch.run.runner import Work, run

TOYS = Work(segment="toywork:segment", finish="toywork:finish")


@dataclass(frozen=True, kw_only=True)
class Cost:
    """Seconds of the runner: for one task, of its process (Dask's scheduler is in it); and for the disk, each time it writes."""

    computing: float
    waiting: float


def toy(out: Path, name: str, segments: int, seconds: float = 0.0, filler: str = "") -> QueuedJob:
    """A job of the toy work; `filler` gives its row the size of a real one."""
    payload: dict[str, Any] = {
        "job": name,
        "out": str(out),
        "source": {"path": name},
        "record": {},
        "segments": [{"index": n, "count": 48} for n in range(segments)],
        "seconds": seconds,
        "filler": filler,
    }
    return QueuedJob(
        key=name, out=str(out), clip=name, state="queued", priority=0, identity="i", frames=48 * segments,
        added=0.0, payload=payload,
    )  # fmt: skip


def farm_of_two() -> DaskFarm:
    return DaskFarm(workers=2)


def measured(folder: Path, farm: DaskFarm, *, jobs: int, segments: int, queued: int) -> Cost:
    """The cost of a task, a segment or a finish, beside so many more jobs in the queue that are held."""
    filler = "x" * 6000
    with open_store(folder / "q.sqlite") as store:
        store.run_alone()
        store.add(toy(folder, f"h{n}", segments, filler=filler) for n in range(queued))
        store.move([f"h{n}" for n in range(queued)], ["queued"], "held")
        store.add(toy(folder, f"c{n}", segments, filler=filler) for n in range(jobs))
        waited: list[float] = []
        writing = store._writing

        def timed(*arguments: Any) -> Any:
            return _Timed(writing(), waited)

        store._writing = timed  # type: ignore[method-assign]
        begun = time.process_time()
        run(store, farm, work=TOYS, keep_free=0)
        computing = time.process_time() - begun
    tasks = jobs * (segments + 1)
    return Cost(computing=computing / tasks, waiting=median(waited))


class _Timed:
    """A transaction, and the time in it that is not computing: waiting for the disk. The median is taken of it, since on
    a busy machine some wait for a processor."""

    def __init__(self, inner: Any, waited: list[float]) -> None:
        self.inner, self.waited = inner, waited

    def __enter__(self) -> Any:
        self.begun = time.perf_counter(), time.thread_time()
        return self.inner.__enter__()

    def __exit__(self, *raised: Any) -> Any:
        try:
            return self.inner.__exit__(*raised)
        finally:
            computed = time.thread_time() - self.begun[1]
            self.waited.append(max(0.0, time.perf_counter() - self.begun[0] - computed))


def busy(workers: int, *, segment: float, cost: Cost, rounds: int = 100) -> float:
    """The share of their time that workers render, in simulated time.

    Each renders `segment` seconds (their starts spread evenly), then stands until the one runner has computed for it,
    which gives it the next. The runner takes all that wait, one after the other, then writes them down together.
    """
    ends = [segment * (n + 1) / workers for n in range(workers)]
    heapq.heapify(ends)
    free = warm = 0.0
    number, warmed = 0, 0
    while number < rounds * workers:
        if not warm and number >= rounds * workers // 2:
            warm, warmed = free, number
        free = waiting = max(free, ends[0])
        while ends[0] <= waiting:
            free += cost.computing
            number += 1
            heapq.heapreplace(ends, free + segment)
        free += cost.waiting
    return segment * (number - warmed) / (workers * (free - warm))


def saturation(segment: float, cost: Cost, share: float = 0.98) -> int:
    """The most workers that are busy for at least that share of the time."""
    low, high = 1, 2
    while busy(high, segment=segment, cost=cost) >= share and high < 100_000:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if busy(middle, segment=segment, cost=cost) >= share:
            low = middle
        else:
            high = middle
    return low


def main() -> None:
    sys.path.insert(0, str(Path(__file__).parent))
    os.environ["PYTHONPATH"] = os.pathsep.join(
        filter(None, (str(Path(__file__).parent), os.environ.get("PYTHONPATH")))
    )
    for queued in (0, 10_000):
        with (
            tempfile.TemporaryDirectory(dir=os.environ.get("TMPDIR")) as folder,
            closing(farm_of_two()) as farm,
        ):
            cost = measured(Path(folder), farm, jobs=60, segments=8, queued=queued)
        print(
            f"{queued} other jobs in the queue: {1e3 * cost.computing:.2f} ms computing a task and {1e3 * cost.waiting:.2f} ms "
            f"waiting for the disk a transaction; at 1 s a segment 2 workers stand still for {1 - busy(2, segment=1.0, cost=cost):.2%} of the time"
        )
        for segment in (1.0, 2.5, 7.0):
            print(
                f"  {segment} s a segment: 98 % busy up to {saturation(segment, cost)} workers, "
                f"half up to {saturation(segment, cost, 0.5)}"
            )


if __name__ == "__main__":
    main()
