"""A queue that lists join during the day and that runs at wrap: add, run, change. The queue commands call this."""

from __future__ import annotations

import fnmatch
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.disks import state_folder
from rushlight.batch.exit_codes import DONE, PARTLY, STOPPED
from rushlight.batch.interrupts import Stopped, cancellable, minded
from rushlight.batch.plan.growing_originals import Growth
from rushlight.batch.plan.model import Plan
from rushlight.batch.plan.request import Request
from rushlight.batch.queue.filling import originals_of
from rushlight.batch.queue.queue_rows import DamagedRow
from rushlight.batch.queue.state_machine import MOVES, UNSETTLED, asked
from rushlight.batch.queue.store import QueuedJob, Store, open_store
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.events import PLANNING, Stop, Summary, Terms, phase
from rushlight.batch.run.farm_at_work import card_there, early_farm, farm_at_work, prepared_for, run_on
from rushlight.batch.run.mended_in_queue import queue_mended
from rushlight.batch.run.put_in_queue import drop_jobs, plan_again, read_list
from rushlight.batch.run.queue_folders import QueueFolders, Watch
from rushlight.batch.run.report_and_manifest import pages_are_current
from rushlight.batch.run.request_accounts import sums_in
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import InputError, OptionError
from rushlight.pipelines.job.spec import JobSpec, digest_of

if TYPE_CHECKING:
    from rushlight.batch.farm.tasks import Farm
    from rushlight.batch.farm.worker_options import Crew
    from rushlight.batch.run.event_stream import EventStream

LOOKED_AT = 8  # jobs

__all__ = ["add", "change", "default_queue", "run_queue"]


def default_queue() -> Path:
    """The queue in the user's state folder ($XDG_STATE_HOME, else ~/.local/state)."""
    return state_folder() / "queue.sqlite"


def add(requests: Sequence[Request], *, queue: Path, priority: int, events: EventStream, stop: Stop) -> int:
    """Queue what is missing, changed or damaged of every list. Gives 1 where rows were set aside.

    Originals that grow are waited for, after everything else is queued.
    """
    with open_store(queue) as store:
        wrong = sum([read_list(store, request, priority, events, stop) for request in requests])
    return PARTLY if wrong else DONE


def run_queue(
    queue: Path,
    *,
    crew: Crew,
    until: datetime | None,
    stay: bool,
    events: EventStream,
    terms: Terms,
    watch: Watch | None = None,
) -> int:
    """Run what is queued, and what joins it; with `stay` wait for more, so that a stop with nothing left is its ordinary
    end. With a `watch` clips whose originals are not there wait for them, and do not fail. Gives the exit code."""
    stop, summary, room = terms.stop, Summary(), Room(events, terms.stop)
    stop.until = until.timestamp() if until else None
    with ExitStack() as held:
        store = held.enter_context(room.to(queue, lambda: open_store(queue)))
        store.run_alone()
        room.to(queue, store.recover)
        queue_mended(store, room, leave=watch.outs if watch else ())
        waiting = store.rows("queued")
        odd = store.damaged_rows()
        for _, text in odd:
            events.problem(text)
        if not waiting and not stay:
            events.note("the queue has nothing to run")
            code = _unsettled(store, summary, set(), room, terms.mode) if store.count(*UNSETTLED) else DONE
            return max(code, PARTLY) if odd else code
        early = held.enter_context(early_farm(crew, events=events, stop=stop))
        card_there(early, crew, stop)
        folders = held.enter_context(QueueFolders(store, events, terms.mode, room, watch=watch))
        if watch:
            held.callback(watch.end)
            watch.begin()
        try:
            clips = len({job.clip_key for job in waiting})
            _say_start(events, 0, clips)
            count = crew.count(0 if stay else _segments(store, waiting, crew.count(0)))
            with (
                ExitStack() as closing,
                farm_at_work(early, count, events=events, stop=stop, closing=closing) as farm,
            ):
                _say_start(events, clips, clips)
                jobs = _first_jobs(store, waiting)
                prepared_for(jobs, farm, events=events, stop=stop, graphics=crew.graphics)
                frames = sum(job.frames for job in waiting)
                events.begin(clips=clips, frames=frames, parts=len(waiting), workers=farm.slots)
                if until:
                    events.note(f"nothing new is started after {until:%H:%M %Z on %d %B}")
                _run_all(store, farm, folders, room, summary, crew.graphics, stay=stay, terms=terms)
        except Stopped:
            summary.stopped = "while nothing was being rendered"
        with minded(stop):
            folders.idle()
        if stop.since and not stay:
            summary.stopped = summary.stopped or "by a signal"
        if watch:
            folders.day_over(watch)
        summary.left = folders.left()
        code = _unsettled(store, summary, folders.ran | folders.newer, room, terms.mode)
        return max(code, PARTLY) if folders.newer else code


def _say_start(events: EventStream, done: int, clips: int) -> None:
    """Say that what is queued, whose lists were planned as they were added, waits for workers; and that these are there."""
    if clips:
        text = "" if done else f"{counted(clips, 'clip')} queued; starting workers"
        events.event(phase(PLANNING, done, clips, text=text))


def _unsettled(store: Store, summary: Summary, ran: set[Path], room: Room, mode: int | None) -> int:
    """The last words of a run, with all that stands in the queue and waits for a person, whenever that came about. Gives the exit
    code."""
    rows = store.rows(*UNSETTLED)
    aside = {Path(row.out) for row in rows if not row.planned and not pages_are_current(Path(row.out))} - ran
    with (
        QueueFolders(store, room.events, mode, room) as folders,
        minded(room.stop),
    ):  # their pages are to say so as well
        if not room.stop.level and any([folders.takes(out) for out in sorted(aside)]):
            folders.idle()
    outs = sorted(ran | {Path(row.out) for row in rows})

    def error_of(row: QueuedJob) -> str:
        """Its error; with its folder, where that is not the one that the summary is of."""
        if len(outs) == 1 or Path(row.out) in ran:
            return row.error
        return f"{row.error} ({'of another list, ' if ran else ''}into {row.out})"

    summary.set_aside = [(row.clip, error_of(row)) for row in rows if row.state == "set aside"]
    summary.failed = [(row.clip, error_of(row)) for row in rows if row.state == "failed"]
    places = sorted(ran) or outs
    room.events.summary(
        plan=Plan(),
        made=summary,
        settled=[],
        out=places[0].resolve() if len(places) == 1 else Path(f"{len(places)} folders"),
        seconds=summary.seconds,
        folders=sums_in(outs),
    )
    if summary.left or summary.stopped:
        return STOPPED
    return PARTLY if rows or store.damaged_rows() else DONE


def _run_all(
    store: Store,
    farm: Farm,
    folders: QueueFolders,
    room: Room,
    summary: Summary,
    graphics: str,
    *,
    stay: bool,
    terms: Terms,
) -> None:
    """Run until nothing is left, also of what had to be planned again; what was made is added to `summary`."""
    growth, deadline, stop, events = Growth(), terms.deadline(), room.stop, room.events
    while True:
        part = run_on(
            farm,
            store,
            events=events,
            stop=stop,
            terms=terms,
            place=folders,
            deadline=deadline,
            graphics=graphics,
            stay=stay,
            changed=summary.changed,
        )
        summary.add(part)
        if not summary.changed or stop.asked:
            return
        still = [j for j in summary.changed.values() if all(map(growth.still, originals_of([j])))]
        if still:
            with cancellable(stop):
                plan_again(store, still, events, room)
        else:
            time.sleep(0.5)
        for job in still:
            del summary.changed[job.key]


def _segments(store: Store, waiting: Sequence[QueuedJob], enough: int) -> int:
    """Number of segments to render, counted no further than there is use for."""
    if len(waiting) >= enough:
        return len(waiting)
    count = 0
    for job in waiting:
        with suppress(DamagedRow):  # it fails when its turn comes
            plan = store.plan(job.key, job.identity)
            count += len(plan.segments) if plan else 0
    return count


def _first_jobs(store: Store, waiting: Sequence[QueuedJob]) -> Iterator[tuple[JobSpec, None]]:
    """The first jobs of a queue, as many as say what kinds of pictures most of it has."""
    for job in waiting[:LOOKED_AT]:
        with suppress(DamagedRow, ValueError):  # it fails when its turn comes
            if plan := store.plan(job.key, job.identity):
                yield JobSpec.model_validate(plan.plain()), None


def change(queue: Path, what: str, clips: Sequence[str], *, everything: bool, events: EventStream) -> int:
    """Hold, release, retry or drop the jobs of clips (names or patterns). OptionError where none is meant.

    A retry reads the lists of rows that could not be planned again, and gives 1 where some still cannot be.
    """
    if not clips and not everything:
        raise OptionError("names no clip; give clip names, patterns such as 'A001*', or --all")
    with open_store(queue) as store:
        rows = store.rows()
        for pattern in clips:
            if not any(fnmatch.fnmatchcase(row.clip, pattern) for row in rows):
                raise OptionError(f"{pattern!r} names no clip in this queue", file=str(queue))
        meant = [r for r in rows if everything or any(fnmatch.fnmatchcase(r.clip, p) for p in clips)]
        answers = {row.key: asked(what, row.state, planned=row.planned) for row in meant}
        moved = [key for key, answer in answers.items() if answer not in (None, "plan again")]
        again = [row for row in meant if answers[row.key] == "plan again"]
        if what == "drop":
            drop_jobs(store, [row for row in meant if row.key in moved])
            if everything:
                store.drop([key for key, _ in store.damaged_rows()])
        else:
            before, after = MOVES[what]
            moved = store.move(moved, before, after)
        _read_again(store, again, events)
        left = {row.key for row in store.rows() if not row.planned}
    moved += [row.key for row in again if row.key not in left]
    kept = Counter(row.state for row in meant if row.key not in set(moved))
    others = ", ".join(f"{count} {state}" for state, count in kept.items())
    events.note(
        f"{what}: {counted(len(moved), 'clip')}" + (f"; left as they are: {others}" if others else "")
    )
    return PARTLY if any(row.key in left for row in again) else DONE


def _read_again(store: Store, rows: Sequence[QueuedJob], events: EventStream) -> None:
    """Read the lists of these rows again. A list that is wrong as a whole is said, and its rows stay as they are."""
    lists: dict[str, tuple[Request, int]] = {}
    for row in rows:
        try:
            if asked := store.asked(row.key, row.identity):
                lists[digest_of(asked.request.plain())] = Request.of_plain(asked.request), row.priority
        except (DamagedRow, KeyError, TypeError, ValueError, AttributeError):
            events.problem(f"{row.clip}: the queue does not say which list it is from; add that list again")
    for request, priority in lists.values():
        try:
            read_list(store, request.checked(), priority, events, Stop(), again=True)
        except InputError as error:
            events.problem(str(error))
