"""Originals compared with their manifests ahead of their rendering: one clip after another, on a thread beside the night's, so
that workers render what was compared while the next is read.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

from rushlight.batch.check.clip_originals import REFUSED, compared, refusal, with_verdict
from rushlight.batch.disks import size_text
from rushlight.batch.records.original import ManifestCheck, ToCompare
from rushlight.batch.records.queue_row import PlannedRecord

__all__ = ["CompareAhead"]

AHEAD = 4  # clips at most that wait to be read
EVERY = 10.0  # seconds between two words on how much was


class _Closed(Exception):
    """The night ends: nobody waits for the verdict."""


class CompareAhead:
    """Verdicts on originals of jobs, by the keys of these. A file that stays as it is (size, time) is read once a run."""

    def __init__(self) -> None:
        self._pool: ThreadPoolExecutor | None = None
        self._jobs: dict[str, Future[ManifestCheck] | None] = {}  # None: nothing to compare
        self._waiting = set[str]()  # jobs that have something to compare, and were not asked for yet
        self._read: dict[object, Future[ManifestCheck]] = {}
        self._closed = False
        self._next = 0.0
        self._now = ("", 0, 0)  # file being read, bytes of its clip that were, and of all of it

    def ready(self, key: str, planned: Callable[[], PlannedRecord | None]) -> bool:
        """True once a job may start; asks for what is to be compared of it, unless enough waits already. Where nothing is known
        of it (None), that is for who starts it to say."""
        if key not in self._jobs:
            busy = sum(not future.done() for future in self._read.values()) >= AHEAD
            if busy and key in self._waiting:
                return False
            record = planned()
            if record is None:
                return True
            if busy and record.compare:
                self._waiting.add(key)
                return False
            self._jobs[key] = self._asked(record) if record.compare else None
        future = self._jobs[key]
        return future is None or future.done()

    def knows(self, key: str) -> bool:
        """True if it is known whether something of a job is to be compared."""
        return key in self._jobs

    def again(self, key: str) -> None:
        """Forget what was found of a job: its media was away."""
        future = self._jobs.pop(key, None)
        self._read = {files: read for files, read in self._read.items() if read is not future}

    def proven(self, key: str, record: PlannedRecord, path: str) -> PlannedRecord:
        """What was planned of a job that is ready, with the verdict. SourceError where it is not to be delivered."""
        future = self._jobs[key]
        if future is None:
            return record
        check = future.result()
        if check.verdict == "cannot be read":
            self.again(key)  # it is tried again once somebody asks for it
        if check.verdict in REFUSED and not record.deliver_differing:
            raise refusal(check, path)
        warnings = with_verdict(check, record.warnings)
        return record.model_copy(update={"manifest": check, "warnings": warnings, "compare": []})

    def forget(self) -> None:
        """Jobs may be others by now; what was read of files that are as they were stays."""
        self._jobs.clear()
        self._waiting.clear()

    def news(self) -> str:
        """A sentence on what is being compared, every ten seconds; empty in between."""
        name, done, whole = self._now
        if not name or time.monotonic() < self._next:
            return ""
        self._next = time.monotonic() + EVERY
        return f"comparing {name} with its manifest: {size_text(done)} of {size_text(whole)}"

    def close(self) -> None:
        """End it, in the middle of a file if need be."""
        self._closed = True
        if self._pool:
            self._pool.shutdown(wait=False, cancel_futures=True)

    def _asked(self, record: PlannedRecord) -> Future[ManifestCheck]:
        rows, so_far = record.compare, record.manifest or ManifestCheck(verdict="not compared yet")
        key = tuple((row.path, row.kind, row.hash, *_state(row.path)) for row in rows)
        if key not in self._read:
            self._pool = self._pool or ThreadPoolExecutor(1, "compare")
            self._read[key] = self._pool.submit(self._compared, rows, so_far)
        return self._read[key]

    def _compared(self, rows: list[ToCompare], so_far: ManifestCheck) -> ManifestCheck:
        name, whole = os.path.basename(rows[0].path), sum({row.path: row.bytes for row in rows}.values())

        def tell(done: int) -> None:
            self._now = (name, done, whole)
            if self._closed:
                raise _Closed

        try:
            return compared(rows, so_far, tell)
        finally:
            self._now = ("", 0, 0)


def _state(path: str) -> tuple[int, int]:
    try:
        info = os.stat(path)
    except OSError:
        return 0, 0
    return info.st_size, info.st_mtime_ns
