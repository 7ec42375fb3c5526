"""Readings since: of jobs that wait in a queue, those whose clips a list that was read later decides."""

from __future__ import annotations

import os
from pathlib import Path

from rushlight.batch.plan.deciding_list import decided_since
from rushlight.batch.plan.request_ledger import FOLDER, Asking, read_askings
from rushlight.batch.queue.store import QueuedJob

__all__ = ["ReadingsSince"]


class ReadingsSince:
    """The requests of output folders as they stand now; those of a folder are read again where one of them is new."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[object, list[Asking]]] = {}

    def text(self, job: QueuedJob) -> str:
        """Why a job is not made as it was queued; empty where it is."""
        if not job.orders.picture:  # queued by an older version
            return ""
        stands = _stamp(Path(job.out))
        if job.out not in self._known or self._known[job.out][0] != stands:
            self._known[job.out] = stands, read_askings(Path(job.out))[0]
        name = job.clip_key.rpartition("@")[0]
        return decided_since(self._known[job.out][1], name, job.orders.picture)


def _stamp(out: Path) -> object:
    """What changes when a request of a folder is read."""
    try:
        with os.scandir(out / FOLDER) as found:
            states = [(each.name, each.stat(follow_symlinks=False)) for each in found]
    except OSError:
        return None
    return sorted((name, state.st_ino, state.st_size, state.st_mtime_ns) for name, state in states)
