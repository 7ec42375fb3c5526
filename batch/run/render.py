"""One request from list to summary: read, plan, queue, run, report. The commands call this."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.exit_codes import DONE, PARTLY, STOPPED
from rushlight.batch.farm.early_farm import EarlyFarm
from rushlight.batch.interrupts import Stopped, beside, cancellable, minded
from rushlight.batch.job_log import Log, log_path, refuse_newer_folder
from rushlight.batch.plan.growing_originals import Growth, growing_text
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.queue.filling import (
    Turn,
    clear_work,
    fill_alone,
    originals_of,
    own_queue,
    refuse_newer_queue,
)
from rushlight.batch.queue.locks import hold_folder
from rushlight.batch.queue.store import queue_of
from rushlight.batch.room.room_ahead import RoomAhead
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.events import Event, Place, Summary, Terms
from rushlight.batch.run.farm_at_work import card_there, early_farm, farm_at_work, prepared_for, run_on
from rushlight.batch.run.jobs_to_make import baked, jobs_of, make_folder, planned
from rushlight.batch.run.report_and_manifest import pages_are_current, write_pages
from rushlight.batch.run.request_accounts import sums_in
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import InputError, OptionError

if TYPE_CHECKING:
    from rushlight.batch.farm.worker_options import Crew
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["nothing_made", "render"]


def render(
    request: Request,
    *,
    crew: Crew,
    events: EventStream,
    terms: Terms,
    made: Callable[[], None] = lambda: None,
) -> int:
    """Make what is missing, changed or damaged, and tell how it went. Gives the exit code. OptionError where a strict list has
    a row that is wrong, a newer version made a part of the folder, or a card that is required is not there: nothing is written then.

    Originals that grow are waited for, after all else is made. `made` is called once nothing more is made, before the last words.
    """
    assert request.out is not None
    out = request.out.absolute()
    events.folder(out)
    refuse_newer_folder(out)
    refuse_newer_queue(out)
    # A strict list may be refused, and of a folder with a log all may be there: no worker starts before that is known.
    early = not (crew.scheduler or request.strict or log_path(out).exists())
    with early_farm(crew, events=events, stop=terms.stop) as farm:

        def start(rows: int) -> None:
            if early and rows:
                farm.start(crew.count(rows))

        try:
            with cancellable(terms.stop):
                prepared = planned(request, events, start)
        except Stopped:
            return nothing_made(events, out)
        if terms.stop.asked:
            return nothing_made(events, out)
        if request.strict and prepared.plan.wrong:
            raise _refused(events, prepared.plan)
        if prepared.plan.clips and not card_there(farm, crew, terms.stop):
            return nothing_made(events, out)
        return _rendered(_Night(request, out, crew, events, terms, farm), prepared, made)


def _rendered(night: _Night, prepared: Prepared, over: Callable[[], None]) -> int:
    """Make what is planned, and tell how it went. Gives the exit code."""
    out = night.out
    night.room.to(out, lambda: make_folder(out))
    with night.room.to(out, lambda: hold_folder(out)), ExitStack() as closing:
        night.events.hold(out, queue_of(out))
        try:
            night.made_in_turns(prepared, closing)
        except Stopped:
            night.stopped("while it was prepared")
        with minded(night.stop):
            closing.close()  # the workers have ended
        if not night.made.left and not night.made.stopped:
            clear_work(out)
    over()
    made, plan = night.made, night.plan
    settled = [clip for clip in night.settled if clip.called not in made.done]
    outcome = made if made.done or made.failed or made.set_aside or made.left or made.stopped else None
    night.events.summary(
        plan=plan,
        made=outcome,
        settled=settled,
        out=out.resolve(),
        seconds=made.seconds,
        folders=sums_in([out], night.log),
    )
    if made.left or made.stopped:
        return STOPPED
    undone = len(plan.wrong) + len(plan.broken) + len(made.failed) + len(made.set_aside)
    return PARTLY if undone else DONE


class _Night:
    """One request made, in as many turns as its originals take to stand still."""

    def __init__(
        self, request: Request, out: Path, crew: Crew, events: EventStream, terms: Terms, early: EarlyFarm
    ) -> None:
        self.request, self.out, self.crew, self.events, self.terms = request, out, crew, events, terms
        self.early = early
        self.stop, self.made, self.deadline = terms.stop, Summary(), terms.deadline()
        self.room, self.ahead = Room(events, self.stop), RoomAhead(terms.keep_free)
        self.plan, self.settled, self.left = Plan(), list[PlannedClip](), 0
        self.log: Log | None = None  # as the pages tell it

    def made_in_turns(self, prepared: Prepared, closing: ExitStack) -> None:
        """Make what can be made, then what stands still by then."""
        growth, made, stop = Growth(), self.made, self.stop
        while True:
            self.plan, self.left = prepared.plan, len(prepared.plan.clips)
            waiting = growth.take_out(prepared.plan, originals_of(made.changed.values()))
            with cancellable(stop):
                turns, self.settled, _ = jobs_of(prepared, self.out, self.events, self.room, ahead=self.ahead)
            self.left = len({turn.spec.job for turn in turns})
            made.changed.clear()
            if turns and stop.asked:
                raise Stopped
            if turns:
                made.add(self.run(prepared, turns, closing))
            self.left = 0
            self.pages(new=bool(turns))
            waiting = sorted({*waiting, *originals_of(made.changed.values())})
            if not waiting or stop.asked:
                break
            self.events.event(Event(what="waiting", text=growing_text(waiting)))
            with minded(stop):
                if not growth.wait(waiting, lambda: stop.asked):
                    break
            try:
                with cancellable(stop):
                    prepared = prepare(self.request)
            except InputError as error:  # what is made is told all the same, and what was waited for is left
                self.events.problem(f"what was waited for is not made: {error}")
                break
        made.left = made.left or len(waiting)
        if stop.since and not made.stopped:
            self.made.stopped = "by a signal"

    def run(self, prepared: Prepared, turns: list[Turn], closing: ExitStack) -> Summary:
        """The workers at work on these jobs. They end while the caller goes on; `closing` waits for them."""
        out, events, room, crew = self.out, self.events, self.room, self.crew
        queue = queue_of(out)
        with room.to(queue, lambda: own_queue(out, events.warning)) as store:
            store.run_alone()
            count = crew.count(sum(len(turn.spec.segments) for turn in turns))
            with beside("bake") as pool:
                bake = partial(baked, prepared, out, turns)
                baking = pool.submit(bake)  # while the workers start
                with farm_at_work(self.early, count, events=events, stop=self.stop, closing=closing) as farm:
                    facts = {job_id(clip): clip.facts for clip in prepared.plan.clips}
                    jobs = [(turn.spec, facts[turn.spec.job]) for turn in turns]
                    prepared_for(jobs, farm, events=events, stop=self.stop, graphics=crew.graphics)
                    whole = room.to(out, bake, begun=baking)
                    room.to(queue, lambda: fill_alone(store, out, whole))
                    frames = sum(g.count for turn in whole for g in turn.spec.segments)
                    events.begin(
                        clips=len({t.spec.job for t in whole}),
                        frames=frames,
                        parts=len(whole),
                        workers=max(farm.slots, count if farm.here else 0),
                    )
                    return run_on(
                        farm,
                        store,
                        events=events,
                        stop=self.stop,
                        terms=self.terms,
                        place=Place(self.terms.mode),
                        deadline=self.deadline,
                        graphics=crew.graphics,
                    )

    def pages(self, *, new: bool) -> None:
        """The report, unless it is there and nothing is new."""
        if new or not pages_are_current(self.out):
            with minded(self.stop):
                self.log = write_pages(self.out, self.events, self.room)

    def stopped(self, where: str) -> None:
        """It was stopped where nothing was in hand."""
        self.made.stopped, self.made.left = where, self.left
        self.pages(new=True)


def _refused(events: EventStream, plan: Plan) -> OptionError:
    """Why a strict request is not made; the faults of its rows are told, and are notes of the error."""
    text = f"nothing was made: --strict was given, and the list has {counted(len(plan.wrong), 'row')} with something wrong"
    error = OptionError(text)
    events.faults(plan, [(row.clip, str(fault)) for row, fault in plan.wrong])
    for _, fault in plan.wrong:
        error.add_note(str(fault))
    events.refused(text)
    return error


def nothing_made(events: EventStream, out: Path) -> int:
    """It was stopped before it was known what is to be made. Gives the exit code."""
    events.summary(
        plan=Plan(), made=Summary(stopped="while the list was read"), settled=[], out=out.resolve(), seconds=0
    )
    return STOPPED
