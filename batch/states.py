"""What follows from what, as pure functions: a job's state, an event, the next state and what is to be done.

queued -> running -> finishing -> done
   ^         |            |
   └── retry ┴────────────┴──> failed | set aside
queued <-> held            (a person's doing)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rushlight.pipelines.errors import DeliveryError, InputError, ResourceError, RushlightError, SourceError

__all__ = ["DEFAULT_POLICY", "Action", "FailureKind", "Policy", "after_failure", "failure_kind"]

JobState = Literal["queued", "held", "running", "done", "failed", "set aside"]
FailureKind = Literal["permanent", "delivery", "resource", "lost worker", "fault"]


@dataclass(frozen=True, kw_only=True)
class Policy:
    """How often what is tried again."""

    delivery_tries: int = 2
    resource_tries: int = 4
    resource_wait: float = 30.0  # seconds before the first new try; doubles
    worker_deaths: int = 3


DEFAULT_POLICY = Policy()


@dataclass(frozen=True, kw_only=True)
class Action:
    """What to do with a task that did not end well."""

    do: Literal["again", "fail", "set aside", "pause"]
    wait: float = 0.0
    why: str = ""


def failure_kind(error: BaseException) -> FailureKind:
    """The class of a failure, by the error a worker raised."""
    if isinstance(error, ResourceError | MemoryError):
        return "resource"
    if isinstance(error, DeliveryError):
        return "delivery"
    if isinstance(error, SourceError | InputError):
        return "permanent"
    if isinstance(error, RushlightError):
        return "permanent"
    if type(error).__name__ in ("KilledWorker", "CommClosedError", "WorkerDied"):
        return "lost worker"
    return "fault"


def after_failure(
    kind: FailureKind, count: int, *, disk_full: bool = False, policy: Policy = DEFAULT_POLICY
) -> Action:
    """What follows the `count`th failure of that kind of one job (the first is 1)."""
    if kind == "permanent" or kind == "fault":
        return Action(do="fail", why="it would fail again")
    if kind == "delivery":
        return (
            Action(do="again")
            if count < policy.delivery_tries
            else Action(do="fail", why=f"failed {count} times")
        )
    if kind == "lost worker":
        if count < policy.worker_deaths:
            return Action(do="again")
        return Action(do="set aside", why=f"{count} workers died on it")
    if disk_full:
        return Action(do="pause", wait=policy.resource_wait)
    if count < policy.resource_tries:
        return Action(do="again", wait=policy.resource_wait * 2 ** (count - 1))
    return Action(do="fail", why=f"the machine was short of something {count} times")
