"""A request accounted for in its output folder: every row, the media folders, and what no row asks for any more."""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable, Mapping, MutableMapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.error_log import kept_fault
from rushlight.batch.job_log import Log, NotMade, append_record, failure_record, latest, read_records
from rushlight.batch.plan.deciding_list import asked_row
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.reconcile_media import originals_named
from rushlight.batch.plan.request_ledger import (
    Asked,
    Asking,
    Day,
    Entry,
    day_of,
    drop_rows,
    keep_asking,
    read_askings,
)
from rushlight.batch.queue.store import QueuedJob
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.queue_row import AskedAgain
from rushlight.batch.records.summary import FolderSums
from rushlight.batch.scenes.recorded_rows import renewed
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.job.spec import digest_of

if TYPE_CHECKING:
    from rushlight.batch.lists.clip_list import Row
    from rushlight.batch.plan.model import PlannedClip
    from rushlight.batch.plan.prepare import Prepared
    from rushlight.batch.plan.request import Request
    from rushlight.batch.run.event_stream import EventStream

__all__ = [
    "account_for",
    "asking_of",
    "bad_rows",
    "day_in",
    "disagreements",
    "drop_from",
    "leave_out",
    "renew_rows",
    "row_ids",
    "sums_in",
]

DROPPED = "taken out of the queue by hand"


def row_ids(clip_list: Path, rows: Iterable[Row]) -> dict[tuple[int, str], str]:
    """The job that a bad row is, by its line and clip: the same for the n-th row of a clip in a list, wherever it moves."""
    found: dict[tuple[int, str], str] = {}
    seen: dict[str, int] = {}
    for row in rows:
        if (row.line, row.clip) not in found:
            nth = seen[row.clip] = seen.get(row.clip, -1) + 1
            found[row.line, row.clip] = f"row-{digest_of([str(clip_list.absolute()), row.clip, nth], 12)}"
    return found


def asking_of(prepared: Prepared) -> Asking:
    """A request as its output folder keeps it."""
    request, plan = prepared.request, prepared.plan
    clip_list = request.clip_list.absolute()
    undone = [row for row, _ in (*plan.wrong, *plan.broken)] + plan.growing
    ids = row_ids(clip_list, (*prepared.clip_list.rows, *undone))
    rows = [Asked(job=ids[row.line, row.clip], clip=row.clip, line=row.line) for row in undone]
    rows += [asked_row(clip, prepared.recipe) for clip in plan.clips]
    have = {row.job for row in rows}
    rows += [row for row in prepared.carried if row.job not in have]
    return Asking(
        list=str(clip_list),
        recipe=str(Path(prepared.recipe_file).absolute()) if prepared.recipe_file else request.recipe,
        only=request.only,
        excerpts=request.excerpts,
        when=request.asked_at or time.time(),
        rows=tuple(sorted(rows, key=lambda row: row.line)),
        named=frozenset(map(str, originals_named(plan))),
        walk=prepared.media.walk if prepared.media else None,
        title=request.title,
        day=str(request.day.absolute()) if request.day else "",
        missing=tuple(plan.missing),
    )


def account_for(
    prepared: Prepared, out: Path, records: dict[str, JobRecord], events: EventStream, *, renewed: bool
) -> Day:
    """Keep the request among those of its folder, log its bad rows, and withdraw what nobody asks for any more. Gives the whole day.

    `renewed`: a person asks, so that what was dropped from the queue before is asked for again. `records` is kept up with the log, since this may be done twice.
    """
    prepared.plan.broken = [(row, kept_fault(out, row.clip, error)) for row, error in prepared.plan.broken]
    asking = asking_of(prepared)
    known, faults = read_askings(out)
    others = [other for other in known if other.id != asking.id]
    before = next((other for other in known if other.id == asking.id), None)
    earlier = {row.job: row for row in before.rows} if before else {}
    asking = _with_earlier(asking, before, records, prepared.request)
    gone = set(prepared.request.dropped)
    if not renewed:
        gone |= {job for job, row in earlier.items() if row.dropped}
    if gone:
        asking = replace(asking, rows=tuple(replace(row, dropped=row.job in gone) for row in asking.rows))
    stands = asking in known or (known and known[-1] == replace(asking, when=known[-1].when))
    if not stands:
        keep_asking(out, asking)
    day = day_of([*others, asking], records)
    for text in faults:
        events.warning(text)
    ours = {row.job for row in asking.rows}
    if prepared.request.origin is None:  # else it was said of the folder
        for text in disagreements(entry for entry in day.entries if entry.job in ours):
            events.warning(text)
    taken = {row.clip for row in asking.rows if row.asks}
    for job, row in day.settled.items():
        if row.clip in taken or job in ours:
            events.warning(f"{row.clip}: {row.text}")
    _log_undone(prepared, out, records, day.dropped.keys() | day.settled.keys())
    wanted = {row.job for other in (*others, asking) for row in other.rows} - day.settled.keys()
    for job, record in list(records.items()):
        over = job not in wanted and (job.startswith("row-") or job in earlier)
        if over and record.status in ("set aside", "failed") and not record.outputs:
            records[job] = record.model_copy(update={"status": "withdrawn", "error": ""})
            append_record(out, records[job])
    return day


def _with_earlier(
    asking: Asking, before: Asking | None, records: Mapping[str, JobRecord], request: Request
) -> Asking:
    """A request with what it keeps of its earlier self, here or in the folder that is made again: rows of delivered clips that it asks
    for no more and, where it asks for some outputs alone, the others that it asked for."""
    rows, known = asking.rows, {row.job: row for row in (before.rows if before else request.placed)}
    if request.outputs or request.left:
        rows = tuple(
            replace(row, outputs=tuple(dict.fromkeys([*known[row.job].outputs, *row.outputs])))
            if row.job in known and row.asks
            else row
            for row in rows
        )
    if before:
        made = {job for job, record in records.items() if record.status == "done"}
        gone = {row.job: row for row in before.gone}
        gone |= {
            row.job: replace(row, when=before.when)
            for row in before.rows
            if row.asks and not row.dropped and row.job in made
        }
    else:
        gone = {row.job: row for row in request.placed if row.when and not request.excerpts}
    have = {row.job for row in rows if row.asks}
    return replace(asking, rows=rows, gone=tuple(row for job, row in gone.items() if job not in have))


def disagreements(entries: Iterable[Entry]) -> list[str]:
    """Sentences on clips that several lists ask for otherwise; those of which the same is to be said in one."""
    clips: dict[str, list[str]] = {}
    for entry in entries:
        if entry.disagreement:
            clips.setdefault(entry.disagreement, []).append(entry.clip)
    return [f"{_named(names)} {text}" for text, names in clips.items()]


def _named(clips: Sequence[str]) -> str:
    shown = shortened(clips, 3)
    return f"each of {counted(len(clips), 'clip')} ({shown})" if len(clips) > 1 else shown


def renew_rows(out: Path, clips: Iterable[PlannedClip], records: MutableMapping[str, JobRecord]) -> list[str]:
    """A new record of each delivered clip whose row says something new of its scene; gives those clips. `records` is kept up with
    the log. When it was made stays as it was: nothing was made."""
    found = []
    for clip in clips:
        record = records.get(job_id(clip))
        if record is None or record.status != "done":
            continue
        new = renewed(record, clip.row)
        if new is not record:
            append_record(out, new)
            records[new.job] = new
            found.append(clip.row.clip)
    return found


def leave_out(prepared: Prepared, jobs: Collection[str]) -> None:
    """Take these jobs and bad rows out of a plan, once it is accounted for."""
    plan, ids = prepared.plan, row_ids(prepared.request.clip_list, prepared.clip_list.rows)
    plan.clips = [clip for clip in plan.clips if job_id(clip) not in jobs]
    plan.wrong = [(row, error) for row, error in plan.wrong if ids.get((row.line, row.clip)) not in jobs]
    plan.broken = [(row, error) for row, error in plan.broken if ids.get((row.line, row.clip)) not in jobs]


def _log_undone(
    prepared: Prepared, out: Path, records: dict[str, JobRecord], leave_out: Collection[str]
) -> None:
    """A record for each row set aside and each original that does not open, unless the log says so already or it is of a job
    in `leave_out`."""
    plan = prepared.plan
    ids = row_ids(prepared.request.clip_list, prepared.clip_list.rows)
    undone: list[tuple[NotMade, list[tuple[Row, RushlightError]]]] = [
        ("set aside", plan.wrong),
        ("failed", plan.broken),
    ]
    for status, pairs in undone:
        for row, error in pairs:
            job = (
                ids.get((row.line, row.clip))
                or row_ids(prepared.request.clip_list, [row])[row.line, row.clip]
            )
            before = records.get(job)
            same = before and before.status == status and before.error == str(error)
            if same or job in leave_out:
                continue
            record = failure_record(job, row.clip, status, str(error))
            record = record.model_copy(update={"row": dict(row.cells)})
            append_record(out, record)
            records[job] = record


def bad_rows(request: Request, prepared: Prepared, suffix: str, priority: int) -> list[QueuedJob]:
    """The rows that cannot be made, as jobs that wait for a person: with what to read again once the list is mended."""
    ids = row_ids(
        request.clip_list,
        (
            *prepared.clip_list.rows,
            *(r for r, _ in prepared.plan.wrong),
            *(r for r, _ in prepared.plan.broken),
        ),
    )
    asking, found = asking_of(prepared), []
    for state, pairs in (("set aside", prepared.plan.wrong), ("failed", prepared.plan.broken)):
        for row, error in pairs:
            found.append(
                QueuedJob(
                    key=f"{ids[row.line, row.clip]}{suffix}/{asking.id}",
                    out=str(request.out.absolute()) if request.out else "",
                    clip=row.clip,
                    state=state,
                    priority=priority,
                    identity=digest_of(str(error)),
                    frames=0,
                    added=float(row.line),
                    error=str(error),
                    planned=False,
                    payload=AskedAgain(request=request.plain()).plain(),
                )
            )
    return found


def drop_from(out: Path, jobs: Mapping[str, str]) -> None:
    """Account for jobs (with their clips) that a person took out of the queue: what was delivered of them stays."""
    records = latest(read_records(out))
    undone = {job: clip for job, clip in jobs.items() if job not in records or records[job].status != "done"}
    drop_rows(out, undone)
    for job, clip in undone.items():
        record = records.get(job)
        if record is None or (record.status != "withdrawn" and not record.outputs):
            append_record(out, failure_record(job, clip, "withdrawn", DROPPED))


def day_in(out: Path, log: Log | None = None) -> Day:
    """All requests of an output folder taken together, with its log: `log`, where that was just read."""
    return day_of(read_askings(out)[0], latest(log.records if log else read_records(out)))


def sums_in(outs: Iterable[Path], log: Log | None = None) -> dict[str, FolderSums]:
    """The same of several folders in numbers, for a summary; one whose log does not read is left out. `log` is that of an only
    folder, where it was just read."""
    found = {}
    for out in outs:
        with suppress(RushlightError):
            day = day_in(out, log)
            media = day.media and {k: len(v) if isinstance(v, list) else v for k, v in day.media.items()}
            found[str(out.resolve())] = FolderSums.read(
                {"title": day.title.text, **day.counts(), "media": media}
            )
    return found
