"""Tasks, their results, and the farm that runs them as the runner sees it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from rushlight.pipelines.errors import QueueError, RushlightError

__all__ = ["Farm", "LostWorker", "Result", "Task", "farm_is_gone", "threads_each"]

MOST = 8  # threads beyond which a segment is no faster: it waits for the one that grades


@dataclass(frozen=True, kw_only=True)
class Task:
    """A call to be made: `function` is `module:name`."""

    key: str
    function: str
    arguments: tuple[object, ...]

    @property
    def payload(self) -> Mapping[str, object]:
        """The job that the task is of, its first argument; empty where it is of none."""
        first = self.arguments[0] if self.arguments else None
        return first if isinstance(first, dict) else {}


@dataclass(frozen=True, kw_only=True)
class Result:
    """Result of a task: a value, or an error."""

    key: str
    value: object = None
    error: BaseException | None = None


class LostWorker(RushlightError):
    """The process that ran a task died."""


def farm_is_gone(text: str) -> None:
    """End the run where the farm as a whole is lost and nobody asked to be told. QueueError."""
    raise QueueError(text)


def threads_each(tasks: int, *, workers: int, cores: int) -> int:
    """Threads of each of so many tasks on one machine: its cores shared among as many as its workers do at once, so that
    cores are idle only where there is nothing to do, and one each where there is more to do than workers."""
    at_once = max(1, min(tasks, workers))
    return min(MOST, max(1, cores // at_once))


class Farm(Protocol):
    """The place where tasks run."""

    @property
    def here(self) -> bool:
        """True if the workers are processes of this machine, started for this run."""

    @property
    def slots(self) -> int:
        """Number of tasks that can run at once just now; changes as workers come and go."""

    def threads(self, tasks: int) -> int:
        """Threads that each of so many tasks, out or waiting, may use without taking another's core."""

    def submit(self, task: Task) -> None:
        """Start a task; the caller keeps no more than `slots` in flight."""

    def results(self, timeout: float) -> list[Result]:
        """Results of tasks that have ended since the last call, waiting up to `timeout` seconds for something
        to."""

    def frames(self) -> Mapping[str, int]:
        """Frames made so far of what workers have in hand, by the token of each task."""

    def close(self, *, now: bool = False) -> None:
        """End the farm; `now` without waiting for what runs."""
