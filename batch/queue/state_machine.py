"""State machine of jobs, as pure functions: a job's state and an event give the next state and what is to be
done.

queued -> running -> done
   ^         |
   ├─────────┴──> failed | set aside         `retry` queues these again
   └── held                                  a person's doing: `hold`, `release`

A row that could not be planned is a job as well, set aside (or failed, where its original does not open). It has nothing to
render, so nothing but a new reading of its list, which `retry` and adding the list again ask for, makes a queued job of it.

While a job is running its segments are rendered in order, several at a time; its finish follows the last.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from rushlight.batch.records.queue_row import JobState
from rushlight.pipelines.errors import (
    ChangedError,
    DeliveryError,
    InputError,
    OwnFault,
    ResourceError,
    RushlightError,
    SourceError,
)

__all__ = [
    "DEFAULT_POLICY",
    "FINISH",
    "MOVES",
    "UNSETTLED",
    "Action",
    "Ended",
    "Failed",
    "FailureKind",
    "JobState",
    "Policy",
    "Progress",
    "SlotFree",
    "after_failure",
    "asked",
    "failure_kind",
    "step",
]

FailureKind = Literal["permanent", "delivery", "resource", "lost worker", "changed", "fault"]
FINISH = -1  # in place of a segment's number

# What a person asks for: from which states, to which.
MOVES: Mapping[str, tuple[tuple[JobState, ...], JobState]] = {
    "hold": (("queued",), "held"),
    "release": (("held",), "queued"),
    "retry": (("failed", "set aside"), "queued"),
}
UNSETTLED: tuple[JobState, ...] = ("set aside", "failed")  # they wait for a person


def asked(what: str, state: str, *, planned: bool) -> JobState | Literal["plan again", "gone"] | None:
    """Next state of a job after a person's word (hold, release, retry, drop): its next state, "gone", or None
    where it stays as it is.

    `planned` is False for a row that could not be planned: a retry of it is "plan again", and it is never held or queued.
    """
    if what == "drop":
        return None if state == "running" else "gone"
    before, after = MOVES[what]
    if state not in before:
        return None
    if planned:
        return after
    return "plan again" if what == "retry" else None


@dataclass(frozen=True, kw_only=True)
class Policy:
    """Retry policy: how often each kind of failure is tried again."""

    delivery_tries: int = 2
    resource_tries: int = 4
    resource_wait: float = 30.0  # seconds before the first new try; doubles
    worker_deaths: int = 3
    gone_wait: float = 1.0  # seconds, while the disk of the outputs is gone


DEFAULT_POLICY = Policy()


@dataclass(frozen=True, kw_only=True)
class Progress:
    """A job that was taken from the queue: which segments are still to be given out, and which are being rendered."""

    state: JobState = "running"
    todo: tuple[int, ...] = ()
    inflight: frozenset[int] = frozenset()  # FINISH alone, once all segments are there
    failures: Mapping[FailureKind, int] = field(default_factory=dict)
    not_before: float = 0.0  # nothing is given out before this moment


@dataclass(frozen=True, kw_only=True)
class SlotFree:
    """A worker has nothing to do."""

    now: float


@dataclass(frozen=True, kw_only=True)
class Ended:
    """A segment, or the finish, ended well."""

    number: int


@dataclass(frozen=True, kw_only=True)
class Failed:
    """A segment, or the finish, did not end well. `disk_gone`: its outputs' disk is not there, whatever the error says."""

    number: int
    kind: FailureKind
    now: float
    disk_full: bool = False
    disk_gone: bool = False


@dataclass(frozen=True, kw_only=True)
class Action:
    """An action that follows an event."""

    do: Literal["render", "finish", "keep", "deliver", "again", "pause", "fail", "set aside", "plan again"]
    number: int = FINISH  # of the segment to render, or whose result is to be kept
    wait: float = 0.0
    why: str = ""


def step(
    progress: Progress, event: SlotFree | Ended | Failed, policy: Policy = DEFAULT_POLICY
) -> tuple[Progress, Action | None]:
    """The next state, and what is to be done; None for nothing. Events of what is not in flight change nothing."""
    if isinstance(event, SlotFree):
        return _given_out(progress, event)
    if progress.state != "running" or event.number not in progress.inflight:
        return progress, None
    left = replace(progress, inflight=progress.inflight - {event.number})
    if isinstance(event, Failed):
        return _failed(left, event, policy)
    if event.number == FINISH:
        return replace(left, state="done"), Action(do="deliver")
    return left, Action(do="keep", number=event.number)


def _given_out(progress: Progress, event: SlotFree) -> tuple[Progress, Action | None]:
    if progress.state != "running" or event.now < progress.not_before:
        return progress, None
    if progress.todo:
        number, *rest = progress.todo
        given = replace(progress, todo=tuple(rest), inflight=progress.inflight | {number})
        return given, Action(do="render", number=number)
    if progress.inflight:
        return progress, None
    return replace(progress, inflight=frozenset({FINISH})), Action(do="finish")


def _failed(left: Progress, event: Failed, policy: Policy) -> tuple[Progress, Action]:
    todo = left.todo if event.number == FINISH else (event.number, *left.todo)
    if event.disk_gone:  # no fault of the clip's, and not counted
        action = Action(do="again", wait=policy.gone_wait)
        return replace(left, todo=todo, not_before=event.now + action.wait), action
    count = left.failures.get(event.kind, 0) + 1
    action = after_failure(event.kind, count, disk_full=event.disk_full, policy=policy)
    counted = replace(left, failures={**left.failures, event.kind: count})
    if action.do in ("again", "pause"):
        return replace(counted, todo=todo, not_before=event.now + action.wait), action
    ends: Mapping[str, JobState] = {"set aside": "set aside", "plan again": "queued"}
    return replace(counted, todo=(), state=ends.get(action.do, "failed")), action


def failure_kind(error: BaseException) -> FailureKind:
    """The class of a failure, by the error a worker raised."""
    if isinstance(error, ResourceError | MemoryError):
        return "resource"
    if isinstance(error, DeliveryError):
        return "delivery"
    if isinstance(error, ChangedError):
        return "changed"
    if isinstance(error, SourceError | InputError):
        return "permanent"
    if isinstance(error, OwnFault):
        return "fault"
    if isinstance(error, RushlightError):
        return "permanent"
    if type(error).__name__ in ("KilledWorker", "CommClosedError", "WorkerDied"):
        return "lost worker"
    return "fault"


def after_failure(
    kind: FailureKind, count: int, *, disk_full: bool = False, policy: Policy = DEFAULT_POLICY
) -> Action:
    """Action after the `count`th failure of that kind of one job (the first is 1)."""
    if kind == "changed":
        return Action(do="plan again", why="the original is still growing, or is another file now")
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
    return Action(do="fail", why=f"the machine ran short of memory, disk or files {count} times")
