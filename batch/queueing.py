"""A queue that lists join during the day and that runs at wrap: add, run, show, change. The queue commands call this."""

from __future__ import annotations

import fnmatch
import json
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from contextlib import ExitStack
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rushlight.batch.inputs import bake_looks
from rushlight.batch.night import clear_work, given_up, interruptible, jobs_of, queued_jobs, write_pages
from rushlight.batch.plan import Plan
from rushlight.batch.prepare import prepare
from rushlight.batch.request import Request
from rushlight.batch.store import QueuedJob, open_store
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.spec import digest_of

if TYPE_CHECKING:
    from rushlight.batch.crew import Crew
    from rushlight.batch.progress import View

__all__ = ["add", "change", "default_queue", "next_time", "run_queue", "show"]

DONE, PARTLY, WRONG, STOPPED = 0, 1, 2, 3
# what is asked for: from which states, to which
_MOVES = {
    "hold": (("queued",), "held"),
    "release": (("held",), "queued"),
    "retry": (("failed", "set aside"), "queued"),
}


def default_queue() -> Path:
    """The queue in the user's state folder ($XDG_STATE_HOME, else ~/.local/state)."""
    state = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(state) / "rushlight" / "queue.sqlite"


def next_time(text: str, now: datetime) -> datetime:
    """The next moment at which a local clock shows `HH:MM`. OptionError for what is no time."""
    try:
        clock = datetime.strptime(text, "%H:%M").time()
    except ValueError:
        raise OptionError(f"{text!r} is no time of day; --until takes HH:MM, such as 05:30") from None
    local = now.astimezone().replace(tzinfo=None)
    day = local.date() + timedelta(days=clock <= local.time())
    return datetime.combine(day, clock).astimezone()


def add(requests: Sequence[Request], *, queue: Path, priority: int, view: View) -> int:
    """Queue what is missing, changed or damaged of every list. Gives 1 where rows were set aside."""
    wrong = 0
    with open_store(queue) as store:
        for request in requests:
            assert request.out is not None
            out = request.out.absolute()
            prepared = prepare(request)
            jobs, settled = jobs_of(prepared, out, view)
            specs = bake_looks(out, [spec for spec, _ in jobs], view.baked)
            suffix = f"@{digest_of(str(out), 8)}"
            store.add(queued_jobs(out, specs, suffix=suffix, priority=priority))
            bad = [*prepared.plan.wrong, *prepared.plan.broken]
            for _, error in bad:
                view.problem(str(error))
            wrong += len(bad)
            there = f", {len(settled)} there already" if settled else ""
            aside = f", {len(bad)} set aside" if bad else ""
            view.say(f"{request.clip_list}: {len(specs)} clip(s) queued{there}{aside}")
    return PARTLY if wrong else DONE


def run_queue(
    queue: Path,
    *,
    crew: Crew,
    until: datetime | None,
    stay: bool,
    view: View,
    keep_free: int = 500_000_000,
) -> int:
    """Run what is queued, and what joins it; with `stay` wait for more. Gives the exit code."""
    from rushlight.batch.runner import Stop, run

    stop = Stop(until=until.timestamp() if until else None)
    with ExitStack() as held:
        store = held.enter_context(open_store(queue))
        store.run_alone()
        store.recover()
        waiting = store.rows("queued")
        if not waiting and not stay:
            view.say("the queue has nothing to run")
            return DONE
        for out in sorted({job.out for job in waiting}):  # a render into the same folder is told who runs
            held.enter_context(open_store(Path(out) / ".work" / "queue.sqlite")).run_alone()
        segments = sum(len(job.payload["segments"]) for job in waiting)
        count = crew.count(0 if stay else segments)
        held.enter_context(interruptible(stop, view))
        scratch = tempfile.TemporaryDirectory(prefix="rushlight-", ignore_cleanup_errors=True)
        place = Path(held.enter_context(scratch))
        farm = crew.farm(count, place, tell=view.warning, gone=given_up(stop, view))
        try:
            frames = sum(g["count"] for job in waiting for g in job.payload["segments"])
            view.begin(clips=len(waiting), frames=frames, workers=farm.slots)
            if until:
                view.say(f"nothing is started after {until:%H:%M %Z on %d %B}")
            summary = run(store, farm, on_event=view.event, stop=stop, keep_free=keep_free, stay=stay)
        finally:
            farm.close(now=stop.level > 1)
            view.end()
        ran = {job.out for job in waiting} | {job.out for job in store.rows("done", "failed", "set aside")}
        left = {job.out for job in store.rows("queued", "held", "running")}
    for out in sorted(ran):
        write_pages(Path(out), view)
        if out not in left:
            clear_work(Path(out))
    where = Path(next(iter(ran))) if len(ran) == 1 else Path(f"{len(ran)} folders")
    view.summary(plan=Plan(), made=summary, settled=[], out=where, seconds=summary.seconds)
    if summary.left:
        return STOPPED
    return PARTLY if summary.failed or summary.set_aside else DONE


def show(queue: Path, *, as_json: bool) -> int:
    """The jobs, first to be run first."""
    from rushlight.batch.tables import print_table

    with open_store(queue) as store:
        rows = store.rows()
    if as_json:
        json.dump([_plain(row) for row in rows], sys.stdout, indent=2, ensure_ascii=False)
        sys.stdout.write("\n")
        return DONE
    if not rows:
        print(f"{queue} is empty")
        return DONE
    table = [(r.clip, r.state, str(r.priority), str(r.frames), r.out, r.error) for r in rows]
    print_table(("clip", "state", "priority", "frames", "out", "error"), table)
    print(", ".join(f"{count} {state}" for state, count in Counter(r.state for r in rows).items()))
    return DONE


def _plain(row: QueuedJob) -> dict[str, Any]:
    names = ("clip", "state", "priority", "frames", "out", "error", "attempts", "deaths")
    return {name: getattr(row, name) for name in names}


def change(queue: Path, what: str, clips: Sequence[str], *, everything: bool, view: View) -> int:
    """Hold, release, retry or drop the jobs of clips (names or patterns). OptionError where none is meant."""
    if not clips and not everything:
        raise OptionError("names no clip; give clip names, patterns such as 'A001*', or --all")
    with open_store(queue) as store:
        rows = store.rows()
        for pattern in clips:
            if not any(fnmatch.fnmatchcase(row.clip, pattern) for row in rows):
                raise OptionError(f"{pattern!r} is no clip of this queue", file=str(queue))
        meant = [r for r in rows if everything or any(fnmatch.fnmatchcase(r.clip, p) for p in clips)]
        if what == "drop":
            moved = [row.key for row in meant if row.state != "running"]
            store.drop(moved)
        else:
            before, after = _MOVES[what]
            moved = store.move((row.key for row in meant), before, after)
    kept = Counter(row.state for row in meant if row.key not in set(moved))
    others = ", ".join(f"{count} {state}" for state, count in kept.items())
    view.say(f"{what}: {len(moved)} clip(s)" + (f"; left as they are: {others}" if others else ""))
    return DONE
