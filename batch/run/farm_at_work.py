"""A farm from its start to its end, and a queue run on it: the same for `render` and `queue run`."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from threading import Thread
from typing import TYPE_CHECKING

from rushlight.batch.farm.early_farm import EarlyFarm
from rushlight.batch.farm.preparing import prepare_machine, require_card, seconds_to_prepare
from rushlight.batch.interrupts import heard, minded
from rushlight.batch.queue.store import QueuedJob, Store
from rushlight.batch.run.events import PREPARING, Place, Stop, Summary, Terms, Work, phase
from rushlight.batch.run.forecast import Deadline

if TYPE_CHECKING:
    from rushlight.batch.farm.dask_farm import DaskFarm
    from rushlight.batch.farm.tasks import Farm
    from rushlight.batch.farm.worker_options import Crew
    from rushlight.batch.run.event_stream import EventStream
    from rushlight.pipelines.job.spec import JobSpec
    from rushlight.pipelines.originals.probe import Facts

__all__ = ["card_there", "early_farm", "farm_at_work", "prepared_for", "run_on"]


def early_farm(crew: Crew, *, events: EventStream, stop: Stop) -> EarlyFarm:
    """Workers that may start before it is known what there is to do."""

    def opened(workers: int) -> DaskFarm:
        return crew.farm(workers, tell=events.warning, gone=_given_up(stop, events), ahead=Work().modules)

    return EarlyFarm(opened)


def card_there(early: EarlyFarm, crew: Crew, stop: Stop) -> bool:
    """Where a graphics card is required, make sure that a worker of this machine can use it, before anything is written for the night.
    False where a stop was asked for meanwhile; OptionError where there is none. The workers of other machines are asked as their work comes."""
    if crew.graphics == "require" and not crew.scheduler:
        with minded(stop):
            require_card(early.there(), stopped=lambda: stop.asked)
    return not stop.asked


@contextmanager
def farm_at_work(
    early: EarlyFarm, count: int, *, events: EventStream, stop: Stop, closing: ExitStack
) -> Iterator[Farm]:
    """The workers, `count` of them where they are this machine's. They end while the caller goes on; `closing` waits for
    them. QueueError where a farm does not answer or a worker of it does not fit."""
    farm = early.take(count)
    try:
        yield farm
    finally:
        now = stop.level > 0 or heard()
        ending = Thread(target=farm.close, kwargs={"now": now}, name="end of the farm")
        ending.start()
        closing.callback(ending.join)
        events.end()


def prepared_for(
    jobs: Iterable[tuple[JobSpec, Facts | None]],
    farm: Farm,
    *,
    events: EventStream,
    stop: Stop,
    graphics: str = "off",
) -> None:
    """The machine prepared for these jobs, with words where that takes long."""

    def tell(done: int, total: int) -> None:
        seconds = seconds_to_prepare(total)
        text = "" if done else f"{PREPARING}, once: about {seconds:.0f} s"
        events.event(phase(PREPARING, done, total, text=text, ends=time.time() + (0 if done else seconds)))

    with minded(stop):
        prepare_machine(farm, jobs, tell=tell, stopped=lambda: stop.asked, graphics=graphics)


def run_on(
    farm: Farm,
    store: Store,
    *,
    events: EventStream,
    stop: Stop,
    terms: Terms,
    place: Place,
    deadline: Deadline | None,
    graphics: str = "auto",
    stay: bool = False,
    changed: Mapping[str, QueuedJob] | None = None,
) -> Summary:
    """Run a queue on these workers until nothing is left that can be run as it was planned; a signal ends it in order."""
    from rushlight.batch.run.runner import run

    if graphics == "require" and farm.here:
        graphics = "auto"  # it was there when the night began: should it fail, that costs no clip
    with minded(stop):
        return run(
            store,
            farm,
            work=Work(graphics=graphics),
            on_event=events.event,
            stop=stop,
            keep_free=terms.keep_free,
            stay=stay,
            place=place,
            changed=changed,
            deadline=deadline,
        )


def _given_up(stop: Stop, events: EventStream) -> Callable[[str], None]:
    """Give up where the farm as a whole is lost: stop now, so that what is left is taken up later."""

    def gone(text: str) -> None:
        if stop.level < 2:
            stop.level = 2
            events.problem(text)

    return gone
