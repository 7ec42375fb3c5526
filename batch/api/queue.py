"""`rushlight queue`: lists that join a queue during the day, and its run at wrap. `queue=None` is the one in your state folder."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Unpack

from rushlight.batch.api.cancel import Cancel
from rushlight.batch.api.nights import (
    NightOptions,
    OnEvent,
    crew_for,
    events_for,
    held_to,
    terms_for,
)
from rushlight.batch.api.render import RenderResult
from rushlight.batch.api.requests import RequestOptions, known_alone, requests_of
from rushlight.batch.exit_codes import STOPPED
from rushlight.batch.interrupts import Stopped
from rushlight.batch.live.night_pages import STATE
from rushlight.batch.queue.locks import runner_of
from rushlight.batch.queue.store import QueuedJob, open_store
from rushlight.batch.records.night_state import NightState
from rushlight.batch.run import queue_operations as operations
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.forecast import next_time
from rushlight.pipelines.errors import OptionError, RushlightError
from rushlight.pipelines.inside_folder import read_bytes

__all__ = [
    "QueueChange",
    "QueueJob",
    "QueueResult",
    "add",
    "drop",
    "hold",
    "list",
    "release",
    "retry",
    "run",
]

Place = str | Path


@dataclass(frozen=True, kw_only=True)
class QueueJob:
    """A row of the queue. `state`: queued, held, running, done, failed or set aside."""

    clip: str
    state: str
    priority: int
    frames: int
    out: str
    error: str
    attempts: int
    deaths: int
    made: int = 0  # frames that are finished
    turn: str = ""  # why it stands where it does, in words

    @classmethod
    def of(cls, row: QueuedJob, *, made: int = 0, turns: bool = False) -> QueueJob:
        """`made`: frames that are finished; `turns`: jobs of its priority differ in rank."""
        own = {each.name: getattr(row, each.name) for each in fields(cls) if hasattr(row, each.name)}
        words = [f"priority {row.priority}" if row.priority else ""]
        if turns:
            words.append(
                "what the recipe has made first" if row.orders.rank == 0 else "after what is made first"
            )
        words.append("then the longest")
        return cls(**own, made=made, turn=", ".join(filter(None, words)).removeprefix("then "))

    @property
    def percent(self) -> int:
        """Hundredths that are made, rounded down."""
        return 100 if self.state == "done" else 100 * self.made // self.frames if self.frames else 0


@dataclass(frozen=True, kw_only=True)
class QueueResult:
    """The jobs, first to be run first; `damaged` are sentences on rows that do not read."""

    queue: Path
    jobs: tuple[QueueJob, ...]
    damaged: tuple[str, ...]
    runner: str = ""  # process and machine that run it now, and since when; empty where nobody does
    ends: Mapping[str, str] = field(default_factory=dict)  # forecast of the end by output folder (ISO 8601)

    def document(self) -> Sequence[dict[str, object]]:
        """The document that `queue list --json` prints."""
        return [dict(vars(job)) for job in self.jobs]


@dataclass(frozen=True, kw_only=True)
class QueueChange:
    """The queue as it is now; `problems` are sentences on rows that wait for a person."""

    queue: QueueResult
    problems: tuple[str, ...]
    code: int  # the command's exit code

    @property
    def stopped(self) -> bool:
        """True if it was cancelled before all was done."""
        return self.code == STOPPED


def add(
    lists: Place | Iterable[Place],
    *,
    out: Place | None = None,
    queue: Place | None = None,
    priority: int = 0,
    replaced: str = "keep",
    on_event: OnEvent | None = None,
    cancel: Cancel | None = None,
    **options: Unpack[RequestOptions],
) -> QueueChange:
    """Queue what the recipe says of every clip of each list; what is there and unchanged is left alone. `out` may be left to
    a day document.

    A list is queued as a whole or, where it is cancelled before that, not at all; `stopped` says so. The same call goes on.
    """
    cancel = cancel or Cancel()
    events = events_for(on_event, cancel)
    several = (lists,) if isinstance(lists, str | Path) else lists
    requests = [r for path in several for r in requests_of(path, options, out=out, replaced=replaced)]
    if homeless := next((r for r in requests if r.out is None), None):
        raise OptionError(
            "--out is needed: the folder for everything that is made", file=str(homeless.clip_list)
        )
    try:
        code = operations.add(
            requests, queue=_queue(queue), priority=priority, events=events, stop=cancel.stop
        )
    except Stopped:
        if not cancel.stop.level:  # a signal
            raise
        code = STOPPED
    return _changed(queue, events, code)


def run(
    *,
    queue: Place | None = None,
    until: str = "",
    stay: bool = False,
    on_event: OnEvent | None = None,
    cancel: Cancel | None = None,
    **options: Unpack[NightOptions],
) -> RenderResult:
    """Run the queue; lists added meanwhile join in. `until` ("05:30") starts nothing after that time of day; `stay` waits
    for more when all is done, until it is cancelled. Events, `cancel` and errors are as for `render`."""
    known_alone(options, NightOptions)
    cancel = cancel or Cancel()
    events = events_for(on_event, cancel)
    terms = terms_for(options, events, cancel)
    end = next_time(until, datetime.now(UTC)) if until else None

    def night() -> int:
        crew = crew_for(options)
        return operations.run_queue(
            _queue(queue), crew=crew, until=end, stay=stay, events=events, terms=terms
        )

    code = held_to(terms, options, events, night)
    return RenderResult.of(events, code)


def hold(
    clips: Place | Iterable[str] = (),
    *,
    all: bool = False,
    queue: Place | None = None,
    on_event: OnEvent | None = None,
) -> QueueChange:
    """Keep clips (names or patterns) from being started."""
    return _change("hold", clips, all, queue, on_event)


def release(
    clips: Place | Iterable[str] = (),
    *,
    all: bool = False,
    queue: Place | None = None,
    on_event: OnEvent | None = None,
) -> QueueChange:
    """Let held clips be started again."""
    return _change("release", clips, all, queue, on_event)


def retry(
    clips: Place | Iterable[str] = (),
    *,
    all: bool = False,
    queue: Place | None = None,
    on_event: OnEvent | None = None,
) -> QueueChange:
    """Queue failed and set-aside clips again; rows that were wrong are read again from their lists."""
    return _change("retry", clips, all, queue, on_event)


def drop(
    clips: Place | Iterable[str] = (),
    *,
    all: bool = False,
    queue: Place | None = None,
    on_event: OnEvent | None = None,
) -> QueueChange:
    """Take clips out of the queue; what was delivered stays."""
    return _change("drop", clips, all, queue, on_event)


def list(*, queue: Place | None = None) -> QueueResult:
    """The jobs of a queue."""
    path = _queue(queue)
    with open_store(path) as store:
        rows, odd, made = store.rows(), store.damaged_rows(), store.frames_made()
    ranks: dict[int, set[int]] = {}
    for row in rows:
        ranks.setdefault(row.priority, set()).add(row.orders.rank)
    runner = runner_of(path)
    return QueueResult(
        queue=path.resolve(),
        jobs=tuple(
            QueueJob.of(row, made=made.get(row.key, 0), turns=len(ranks[row.priority]) > 1) for row in rows
        ),
        damaged=tuple(text for _, text in odd),
        runner=runner,
        ends=_ends({row.out for row in rows}) if runner else {},
    )


def _ends(folders: Iterable[str]) -> dict[str, str]:
    """The end that each folder's run foresees, where it has said so."""
    found = {}
    for folder in folders:
        with suppress(OSError, ValueError, RushlightError):
            state = NightState.read(json.loads(read_bytes(Path(folder), STATE)))
            if state.ends and not state.is_over:
                found[folder] = state.ends
    return found


def _change(
    what: str,
    clips: Place | Iterable[str],
    everything: bool,
    queue: Place | None,
    on_event: OnEvent | None,
) -> QueueChange:
    events = events_for(on_event, Cancel())
    several = (str(clips),) if isinstance(clips, str | Path) else tuple(clips)
    code = operations.change(_queue(queue), what, several, everything=everything, events=events)
    return _changed(queue, events, code)


def _changed(queue: Place | None, events: EventStream, code: int) -> QueueChange:
    if events.raised is not None:
        raise events.raised
    return QueueChange(queue=list(queue=queue), problems=tuple(events.problems), code=code)


def _queue(given: Place | None) -> Path:
    return Path(given) if given else operations.default_queue()
