"""The run of a day: its queue run as `queue run --stay` runs it, with the day's watch beside it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.day.shooting_day import ShootingDay
from rushlight.batch.exit_codes import DONE, PARTLY
from rushlight.batch.queue.store import open_store
from rushlight.batch.run.events import Terms
from rushlight.batch.run.queue_operations import run_queue
from rushlight.batch.watch.day_watch import DayWatch, Pace

if TYPE_CHECKING:
    from rushlight.batch.farm.worker_options import Crew
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["Release", "release_day", "run_day"]


def run_day(
    day: ShootingDay,
    queue: Path,
    *,
    crew: Crew,
    until: datetime | None,
    hold: bool,
    pace: Pace,
    events: EventStream,
    terms: Terms,
) -> int:
    """Run a day until it is stopped, or until a moment. Gives the exit code: that of its queue, and 1 where a card or a clip is still
    waited for."""
    watch = DayWatch(day, queue, hold=hold, events=events, stop=terms.stop, pace=pace)
    code = run_queue(queue, crew=crew, until=until, stay=True, events=events, terms=terms, watch=watch)
    return PARTLY if code == DONE and watch.waits else code


@dataclass(frozen=True, kw_only=True)
class Release:
    """What was let go: how many jobs were held, and in which folders."""

    jobs: int
    folders: tuple[Path, ...]


def release_day(day: ShootingDay, queue: Path) -> Release:
    """Let what is held of a day be rendered, and what joins it."""
    outs = tuple(out.absolute() for out in day.folders)
    with open_store(queue) as store:
        return Release(jobs=sum(store.release_folder(out) for out in outs), folders=outs)
