"""Jobs into a queue's rows: those of a shared queue, and the queue of one output folder, which holds its own and no others."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.disks import mount_of
from rushlight.batch.queue.migrations import VERSIONS, copy_of
from rushlight.batch.queue.queue_rows import DamagedQueue, DamagedRow, NewerQueue, check_queue
from rushlight.batch.queue.store import QueuedJob, Store, open_store, queue_of
from rushlight.batch.records.queue_row import QueuedPlan, TurnOrders
from rushlight.batch.what_is_there import paths_of
from rushlight.pipelines.errors import QueueError
from rushlight.pipelines.inside_folder import is_file, remove_tree
from rushlight.pipelines.job.spec import JobSpec, OutputSpec, digest_of

__all__ = [
    "Turn",
    "clear_work",
    "fill_alone",
    "originals_of",
    "own_queue",
    "queued_jobs",
    "refuse_newer_queue",
]


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One turn of a clip that is to be made: its job for workers, and its orders for the runner."""

    spec: JobSpec
    orders: TurnOrders
    recipe: str  # its name


def queued_jobs(out: Path, turns: Iterable[Turn], *, suffix: str = "", priority: int = 0) -> list[QueuedJob]:
    """Jobs as rows of a queue; `suffix` keeps the jobs of several output folders apart."""
    mount = mount_of(out)

    def key(turn: Turn) -> str:
        recipe, rank = digest_of(turn.recipe, 6), turn.orders.rank
        return f"{turn.spec.job}{suffix}/{recipe}" + (f"+{rank}" if rank else "")

    return [
        QueuedJob(
            key=key(turn),
            out=str(out),
            clip=turn.spec.clip,
            state="queued",
            priority=priority,
            identity=digest_of([_told(o) for o in turn.spec.outputs]),
            frames=sum(segment.count for segment in turn.spec.segments),
            added=float(index),
            mount=mount,
            orders=turn.orders,
            payload=turn.spec.model_dump(mode="json"),
        )
        for index, turn in enumerate(turns)
    ]


def _told(output: OutputSpec) -> object:
    """What an output in the queue is told by: its identity; where templates name its files, by these as well."""
    return [output.identity, *paths_of(output)] if output.by_template else output.identity


def fill_alone(store: Store, out: Path, turns: Iterable[Turn]) -> None:
    """These jobs in the queue, and no others, nor others under their names: an output folder's queue may be anybody's."""
    queued = queued_jobs(out, turns)
    wanted = {job.key: job for job in queued}

    def ours(row: QueuedJob) -> bool:
        job = wanted.get(row.key)
        if job is None or (row.out, row.orders) != (job.out, job.orders):
            return False
        with suppress(DamagedRow):
            plan = store.plan(row.key, job.identity)
            return plan is not None and plan.plain() == job.payload
        return False

    running = [row for row in store.rows("running") if not ours(row)]  # others of that name are replaced
    store.drop([row.key for row in (*running, *store.rows()) if row.key not in wanted or row in running])
    store.drop([key for key, _ in store.damaged_rows()])
    store.add(queued)
    for row in store.rows():
        if not ours(row):
            text = "does not hold what was put into it: remove the folder .work, and what was unfinished is made again"
            raise QueueError(text, file=str(store.path))


def own_queue(out: Path, warn: Callable[[str], None]) -> Store:
    """The queue of `render` into a folder, opened. One that is damaged is put aside: all it holds can be made again."""
    path = queue_of(out)
    try:
        with open_store(path, of=out) as store:
            store.check()
    except NewerQueue as error:
        raise _refused(error) from None
    except DamagedQueue as error:
        aside = path.with_name(f"{path.name}.damaged")
        path.replace(aside)
        path.with_name(f"{path.name}-journal").unlink(missing_ok=True)
        warn(f"{error}. It is put aside as {aside.name}; unfinished work is made again")
    return open_store(path, of=out)


def refuse_newer_queue(out: Path) -> None:
    """QueueError where the queue of `render` into a folder is of a newer version. Nothing is written; what else is wrong with it is told
    by whoever opens it to use it."""
    path = queue_of(out)
    inside = path.is_relative_to(out)
    if not (is_file(out, path.relative_to(out).as_posix()) if inside else path.is_file()):
        return
    try:
        with (
            suppress(sqlite3.Error, DamagedQueue),
            closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as db,
        ):
            check_queue(db, path, VERSIONS)
    except NewerQueue as error:
        raise _refused(error) from None


def _refused(error: NewerQueue) -> QueueError:
    text = f"{error.text}; or remove the folder .work, and what was unfinished is made again"
    return QueueError(text, file=error.file)


def originals_of(jobs: Iterable[QueuedJob]) -> list[Path]:
    """Paths of the originals of jobs (with their payloads)."""
    return sorted({Path(QueuedPlan.read(job.payload).source.path) for job in jobs})


def clear_work(out: Path) -> None:
    """Remove an output folder's working files, and its queue where that lies elsewhere. The caller holds its lock."""
    remove_tree(out, ".work")
    queue = queue_of(out)
    if not queue.is_relative_to(out):
        copies = (copy_of(queue, version) for version in VERSIONS)
        for path in (queue, queue.with_name(f"{queue.name}.runner"), *copies):
            path.unlink(missing_ok=True)
