"""Lists into a queue: read, planned, and what is missing, changed or damaged of them queued; and queued jobs planned again, or taken out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from rushlight.batch.interrupts import cancellable
from rushlight.batch.plan.deciding_list import in_order
from rushlight.batch.plan.growing_originals import Growth, growing_text
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.prepare import Prepared
from rushlight.batch.plan.request import Request
from rushlight.batch.plan.request_ledger import read_askings
from rushlight.batch.queue.filling import Turn, originals_of, queued_jobs
from rushlight.batch.queue.queue_rows import DamagedRow
from rushlight.batch.queue.state_machine import JobState
from rushlight.batch.queue.store import QueuedJob, Store
from rushlight.batch.records.queue_row import QueuedPlan
from rushlight.batch.room.room_ahead import RoomAhead
from rushlight.batch.room.room_forecast import ToMake
from rushlight.batch.room.room_of_jobs import WaitingJob, room_of_jobs
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.events import Event, Stop
from rushlight.batch.run.jobs_to_make import baked, jobs_of, planned
from rushlight.batch.run.kept_inputs import kept_requests
from rushlight.batch.run.request_accounts import asking_of, bad_rows, drop_from, row_ids
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.errors import InputError, OptionError
from rushlight.pipelines.job.spec import digest_of

if TYPE_CHECKING:
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["ALL", "Added", "drop_jobs", "plan_again", "put_again", "put_in", "read_list"]

ALL: Collection[str] = frozenset(get_args(JobState))


@dataclass
class Added:
    """Result of adding a list so far, in however many looks: the jobs queued, what is wrong with each bad row, the clips by job that
    wait for a grade or whose originals have not come, and what was warned of."""

    jobs: set[str] = field(default_factory=set)
    bad: dict[str, str] = field(default_factory=dict)
    no_grade: dict[str, str] = field(default_factory=dict)
    not_come: dict[str, str] = field(default_factory=dict)
    warned: set[str] = field(default_factory=set)
    ahead: RoomAhead = field(default_factory=RoomAhead)


def read_list(
    store: Store, request: Request, priority: int, events: EventStream, stop: Stop, *, again: bool = False
) -> int:
    """Queue what is to be made of a list; `again`: leave alone what stands in the queue as it is. Gives the number of its bad rows."""
    growth, added = Growth(), Added()
    waited: list[Path] | None = None
    while True:
        with cancellable(stop):
            prepared = planned(request, events)
            waiting = growth.take_out(prepared.plan)
            put_in(
                store,
                request,
                prepared,
                waited,
                priority,
                events,
                renewed=waited is None and not again,
                leave=ALL if again else (),
                added=added,
            )
        if not waiting:
            return len(added.bad)
        events.event(Event(what="waiting", text=growing_text(waiting)))
        growth.wait(waiting, lambda: stop.level > 0)
        waited = waiting


def put_in(
    store: Store,
    request: Request,
    prepared: Prepared,
    originals: Collection[Path] | None,
    priority: int,
    events: EventStream,
    room: Room | None = None,
    *,
    renewed: bool = False,
    leave: Collection[str] = (),
    added: Added | None = None,
) -> None:
    """Queue what is to be made of a plan, or only of some originals, and its bad rows. `renewed`: what was dropped by hand is asked for
    again; `leave`: a job that is there in one of these states stays as it is. `added` is kept up, and said."""
    assert request.out is not None
    added = added or Added()
    out = request.out.absolute()
    room = room or Room(events, Stop(), patient=False)
    prepared.plan.warnings = [w for w in dict.fromkeys(prepared.plan.warnings) if w not in added.warned]
    added.warned.update(prepared.plan.warnings)
    added.ahead.waiting = lambda: _waiting(store)
    in_hand, ahead = _in_hand(store, out), added.ahead
    found, settled, day = jobs_of(prepared, out, events, room, renewed=renewed, ahead=ahead, in_hand=in_hand)
    _wait_for_originals(prepared, events, added)
    suffix = f"@{digest_of(str(out), 8)}"
    chosen = [turn for turn in found if turn.spec.job not in day.dropped]
    if originals is not None:
        chosen = [turn for turn in chosen if Path(turn.spec.source.path) in originals]
    chosen = _but_known(store, out, chosen, suffix, leave)
    if request.wait_for_grade:
        chosen = _graded(prepared, chosen, events, added)
    turns = room.to(out, lambda: baked(prepared, out, chosen))
    rows = bad_rows(request, prepared, suffix, priority)
    bad = [row for row in rows if row.key.partition("@")[0] not in day.dropped]
    ours = f"/{asking_of(prepared).id}"  # the rows that this request had before, and those whose clip it has taken up
    before = store.unplanned(out)
    later = {job for job, row in day.settled.items() if row.later}
    away = {row.job for row in prepared.carried}
    over = [
        key
        for key in before
        if (key.endswith(ours) and key.partition("@")[0] not in away) or key.partition("@")[0] in later
    ]
    queued = [*queued_jobs(out, turns, suffix=suffix, priority=priority), *bad]
    room.to(store.path, lambda: store.add(queued, settled=over))
    new = [(row.clip, row.error) for row in bad if added.bad.get(row.key) != row.error]
    events.faults(prepared.plan, new)
    added.jobs |= {turn.spec.job for turn in turns}
    added.bad = {row.key: row.error for row in bad}
    events.queued(
        request.clip_list,
        clips=len(added.jobs - {job_id(clip) for clip in settled}),  # the others were made since
        unchanged=len(settled),
        set_aside=sum(row.state == "set aside" for row in bad),
        failed=sum(row.state == "failed" for row in bad),
    )


def _waiting(store: Store) -> list[ToMake]:
    """What a queue is to make already. A row that does not read fails when its turn comes."""
    found = list[ToMake]()
    for payload in store.payloads("queued", "held", "running"):
        with suppress(ValueError, OptionError):
            found += room_of_jobs([WaitingJob.model_validate_json(str(payload))])
    return found


def _but_known(
    store: Store, out: Path, turns: list[Turn], suffix: str, states: Collection[str]
) -> list[Turn]:
    """The turns without those whose jobs are there in one of these states."""
    if not states:
        return turns
    known = {(row.key, row.identity) for row in store.rows(*states)}
    return [t for t in turns if {(j.key, j.identity) for j in queued_jobs(out, [t], suffix=suffix)} - known]


def _in_hand(store: Store, out: Path) -> dict[str, set[str]]:
    """Pictures that a run is making now in an output folder, by job."""
    found: dict[str, set[str]] = {}
    for row in store.rows("running"):
        if row.orders.picture and row.out == str(out):
            found.setdefault(row.clip_key.rpartition("@")[0], set()).add(row.orders.picture)
    return found


def _wait_for_originals(prepared: Prepared, events: EventStream, added: Added) -> None:
    """Rows whose originals have not come: said once of each."""
    ids = row_ids(prepared.request.clip_list, prepared.clip_list.rows)
    waits = {ids[row.line, row.clip]: row.clip for row in prepared.not_come}
    if new := [clip for job, clip in waits.items() if job not in added.not_come]:
        names = shortened(new)
        events.note(
            f"{prepared.request.clip_list}: {counted(len(new), 'clip')} {'has' if len(new) == 1 else 'have'} not come yet ({names}); each is queued once its card is complete"
        )
    added.not_come = waits


def _graded(prepared: Prepared, turns: Sequence[Turn], events: EventStream, added: Added) -> list[Turn]:
    """The turns of clips that have a grade. The others wait for theirs, which is said once of each."""
    lacking = {job_id(clip): clip.row.clip for clip in prepared.plan.clips if clip.decision.cdl is None}
    waits = {turn.spec.job: lacking[turn.spec.job] for turn in turns if turn.spec.job in lacking}
    if new := [clip for job, clip in waits.items() if job not in added.no_grade]:
        for clip in new:
            events.event(Event(what="waits for a grade", clip=clip))
        events.note(
            f"{counted(len(new), 'clip')} waiting for a grade; each is queued when its grade is there"
        )
    added.no_grade = waits
    return [turn for turn in turns if turn.spec.job not in waits]


def put_again(store: Store, jobs: Sequence[QueuedJob], events: EventStream, room: Room) -> None:
    """Plan the originals of jobs of one output folder again, from what the folder keeps of its requests; what is to be made is queued."""
    out = Path(jobs[0].out)
    for request in in_order(kept_requests(out, events.warning), read_askings(out)[0]):
        wanted = replace(request, out=out, replaced=jobs[0].orders.replaced)
        priority = max(job.priority for job in jobs)
        put_in(store, wanted, planned(wanted, events), originals_of(jobs), priority, events, room)


def plan_again(store: Store, jobs: Sequence[QueuedJob], events: EventStream, room: Room) -> None:
    """Plan jobs again, whose originals had changed. Those of a folder that keeps nothing that can be planned fail; the others go on."""
    for out in sorted({job.out for job in jobs}):
        ours = {job.key: job for job in jobs if job.out == out}
        try:
            put_again(store, list(ours.values()), events, room)
        except InputError as error:
            events.problem(f"clips of {out} whose originals have changed cannot be planned again: {error}")
        for row in store.rows("queued"):
            old = ours.get(row.key)
            try:
                plan = store.plan(row.key, row.identity) if old else None
            except DamagedRow:
                continue  # it fails when its turn comes
            if (
                old and plan and plan.source == QueuedPlan.read(old.payload).source
            ):  # it cannot be planned any more
                store.set_state(row.key, row.identity, "failed", error="its original has changed")


def drop_jobs(store: Store, rows: Sequence[QueuedJob]) -> None:
    """Take jobs out; what was to be made of them is no longer missing in their folders."""
    store.drop(row.key for row in rows)
    left = {row.clip_key for row in store.rows()}
    gone: dict[Path, dict[str, str]] = {}
    for row in rows:
        if row.clip_key not in left:
            gone.setdefault(Path(row.out), {})[row.clip_key.rpartition("@")[0]] = row.clip
    for out, jobs in gone.items():
        if out.is_dir():
            drop_from(out, jobs)
