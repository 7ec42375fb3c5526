"""Commands timed: wall and CPU seconds of a whole process tree, alternating, medians."""

from __future__ import annotations

import ctypes
import os
import resource
import statistics
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psutil

__all__ = ["Cost", "alternating", "median_ratio", "middle", "taking_turns", "thread_ms", "timed"]

Command = Sequence[str]
PR_SET_CHILD_SUBREAPER = 36  # linux/prctl.h


@dataclass(frozen=True, kw_only=True)
class Cost:
    """What something took: seconds on the clock, and seconds of processor in all its processes."""

    wall: float
    cpu: float


def timed(commands: Sequence[Command], *, cores: int | None = None, where: Path | None = None) -> Cost:
    """The cost of commands started together; `cores` pins them, and all they start, to the first so many. Python keeps what it has
    compiled of ours, as an installation does.

    CalledProcessError with what the command said where one fails.
    """
    allowed = sorted(os.sched_getaffinity(0))[: cores or None]
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    with _taking_orphans():
        running = [
            subprocess.Popen(
                command,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                cwd=where,
                env={k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"},
                preexec_fn=lambda: os.sched_setaffinity(0, allowed),
            )
            for command in commands
        ]
        for process in running:
            said, _ = process.communicate()
            if process.returncode:
                raise subprocess.CalledProcessError(process.returncode, process.args, output=said[-3000:])
        wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return Cost(wall=wall, cpu=after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)


@contextmanager
def _taking_orphans() -> Iterator[None]:
    """Processes whose parent ends in here, such as a fork server, are ours to wait for (Linux): else nobody counts what they took."""
    prctl = getattr(ctypes.CDLL(None), "prctl", lambda *_: None)
    before = set(psutil.Process().children())
    prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0)
    try:
        yield
        psutil.wait_procs(set(psutil.Process().children()) - before)
    finally:
        prctl(PR_SET_CHILD_SUBREAPER, 0, 0, 0, 0)


def alternating(contenders: Mapping[str, Callable[[], Cost]], runs: int) -> dict[str, Cost]:
    """Each contender in turn, `runs` times round; the median wall and CPU of each."""
    return {name: middle(costs) for name, costs in taking_turns(contenders, runs).items()}


def taking_turns(contenders: Mapping[str, Callable[[], Cost]], runs: int) -> dict[str, list[Cost]]:
    """Each contender in turn, `runs` times round; what each took, round by round."""
    found: dict[str, list[Cost]] = {name: [] for name in contenders}
    for _ in range(runs):
        for name, contender in contenders.items():
            found[name].append(contender())
    return found


def middle(costs: Sequence[Cost]) -> Cost:
    return Cost(wall=statistics.median(c.wall for c in costs), cpu=statistics.median(c.cpu for c in costs))


def median_ratio(ours: Sequence[Cost], theirs: Sequence[Cost]) -> float:
    """The median of the ratios of wall, round by round: a machine that slows down for a round slows both."""
    return statistics.median(a.wall / b.wall for a, b in zip(ours, theirs, strict=True))


def thread_ms(call: Callable[[], object], runs: int) -> float:
    """Milliseconds of this thread's processor time that a call takes: the median, after one that is not counted."""
    call()
    took = []
    for _ in range(runs):
        start = time.thread_time()
        call()
        took.append(time.thread_time() - start)
    return 1e3 * statistics.median(took)
