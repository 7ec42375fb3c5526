"""Jobs of a queue that are done, of originals that were copied again whole since: found as a run of the queue begins, and queued again."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from rushlight.batch.due.mended_originals import mended_since
from rushlight.batch.interrupts import Stopped, cancellable
from rushlight.batch.job_log import LOG, latest, newer_text, read_records
from rushlight.batch.plan.original_hashes import is_as_recorded
from rushlight.batch.queue.store import QueuedJob, Store
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.original import Source
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.put_in_queue import put_again
from rushlight.pipelines.errors import OutsideError, RushlightError
from rushlight.pipelines.heartbeat import beating
from rushlight.pipelines.inside_folder import read_bytes
from rushlight.pipelines.job.from_spec import opened_facts
from rushlight.pipelines.job.spec import JobSpec
from rushlight.pipelines.originals.probe import sampled_hash

__all__ = ["queue_mended"]

_DAMAGE = re.compile(rb'"damage":\s*\[\s*\{')


def queue_mended(store: Store, room: Room, *, leave: Collection[Path] = ()) -> None:
    """Plan again what was delivered with damaged frames that can be read now, and queue it, unless a stop is asked for. Folders in
    `leave` are left to their own watch. What goes wrong with a folder is told, and costs no other."""
    try:
        with cancellable(room.stop):
            _queue_mended(store, room, leave)
    except Stopped:
        if not room.stop.level:
            raise


def _queue_mended(store: Store, room: Room, leave: Collection[Path]) -> None:
    done: dict[str, list[QueuedJob]] = {}
    for row in store.rows("done"):
        done.setdefault(row.out, []).append(row)
    for out, rows in done.items():
        if Path(out) in leave or not (damaged := _damaged(Path(out))):
            continue
        try:
            if found := _mended(store, rows, damaged):
                put_again(store, found, room.events, room)
        except RushlightError as error:
            room.events.warning(f"{out}: what was copied again of its originals cannot be planned: {error}")


def _damaged(out: Path) -> dict[str, JobRecord]:
    """Records of clips that were delivered with damaged frames, by job; the log is read as records only where it has any."""
    try:
        if not _DAMAGE.search(read_bytes(out, LOG)):
            return {}
        records = read_records(out)
    except (OSError, OutsideError):
        return {}
    return {} if newer_text(records) else {r.job: r for r in latest(records).values() if r.damage}


def _mended(store: Store, rows: Iterable[QueuedJob], damaged: dict[str, JobRecord]) -> list[QueuedJob]:
    found = []
    for row in beating(rows):
        record = damaged.get(row.clip_key.rpartition("@")[0])
        with suppress(RushlightError, OSError, ValueError):  # nothing is known of it, then: it stays as it is
            plan = store.plan(row.key, row.identity) if record else None
            if plan is None:
                continue
            spec = JobSpec.model_validate(plan.plain())
            facts, frames = opened_facts(spec.source), range(spec.first, spec.first + spec.count)
            source = (record and record.source) or Source()
            sampled = source.sampled if is_as_recorded(source, Path(spec.source.path), facts) else ""
            sampled = sampled or sampled_hash(facts)
            if mended_since(record, sampled, facts, frames, conform=spec.source.conform).text:
                found.append(replace(row, payload=plan.plain()))
    return found
