"""The queue: one durable row a job, on SQLite on a local disk. Only the runner writes it.

Settings by measurement: rollback journal with `synchronous=EXTRA`, one writer, explicit transactions.
"""

from __future__ import annotations

import fcntl
import json
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.pipelines.errors import QueueError

__all__ = ["QueuedJob", "Store", "open_store"]

_SCHEMA = """
CREATE TABLE IF NOT EXISTS about (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS job (
    key TEXT PRIMARY KEY, out TEXT NOT NULL, clip TEXT NOT NULL, state TEXT NOT NULL, priority INTEGER NOT NULL,
    identity TEXT NOT NULL, frames INTEGER NOT NULL, added REAL NOT NULL, payload TEXT NOT NULL, error TEXT NOT NULL DEFAULT '',
    deaths INTEGER NOT NULL DEFAULT 0, attempts INTEGER NOT NULL DEFAULT 0);
CREATE INDEX IF NOT EXISTS job_state ON job (state, priority DESC, added);
CREATE TABLE IF NOT EXISTS segment (
    key TEXT NOT NULL, identity TEXT NOT NULL, number INTEGER NOT NULL, result TEXT NOT NULL, PRIMARY KEY (key, number));
"""
VERSION = "1"


@dataclass(frozen=True, kw_only=True)
class QueuedJob:
    """One row of the queue."""

    key: str  # output folder and job
    out: str
    clip: str
    state: str
    priority: int
    identity: str
    frames: int
    added: float
    error: str = ""
    deaths: int = 0
    attempts: int = 0
    payload: Mapping[str, Any]


class Store:
    """An open queue file. One runner at a time holds its lock; everybody may read."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(path, timeout=30, isolation_level=None)
            self._db.execute("PRAGMA journal_mode=DELETE")
            self._db.execute("PRAGMA synchronous=EXTRA")
            with self._writing():
                for statement in _SCHEMA.split(";"):
                    self._db.execute(statement)
                self._db.execute("INSERT OR IGNORE INTO about VALUES ('version', ?)", (VERSION,))
            (version,) = self._db.execute("SELECT value FROM about WHERE key='version'").fetchone()
        except (sqlite3.Error, OSError) as error:
            raise QueueError(f"is no queue that can be opened: {error}", file=str(path)) from None
        if version != VERSION:
            raise QueueError(f"is a queue of version {version}; this reads {VERSION}", file=str(path))
        self._lock: int | None = None

    def close(self) -> None:
        """Let the file and the lock go."""
        self._db.close()
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _writing(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")

    def run_alone(self) -> None:
        """Take the runner's lock. QueueError saying who runs where another has it."""
        place = self.path.with_name(self.path.name + ".runner")
        handle = os.open(place, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            who = os.read(handle, 200).decode("utf-8", "replace").strip() or "another process"
            os.close(handle)
            raise QueueError(
                f"is being run by {who}; one runner a queue at a time", file=str(self.path)
            ) from None
        os.ftruncate(handle, 0)
        os.pwrite(
            handle,
            f"process {os.getpid()} on {os.uname().nodename}, since {time.strftime('%H:%M')}".encode(),
            0,
        )
        self._lock = handle

    # --- writing

    def add(self, jobs: Iterable[QueuedJob]) -> None:
        """Put jobs in. One that is there already with the same identity keeps its finished segments and starts with
        a fresh count (one that is running is left alone); another identity takes its place."""
        with self._writing():
            for job in jobs:
                old = self._db.execute("SELECT identity,state FROM job WHERE key=?", (job.key,)).fetchone()
                if old == (job.identity, "running"):
                    continue
                if old and old[0] != job.identity:
                    self._db.execute("DELETE FROM segment WHERE key=?", (job.key,))
                self._db.execute(
                    "INSERT OR REPLACE INTO job (key,out,clip,state,priority,identity,frames,added,payload) VALUES (?,?,?,?,?,?,?,?,?)",
                    (
                        job.key,
                        job.out,
                        job.clip,
                        job.state,
                        job.priority,
                        job.identity,
                        job.frames,
                        job.added,
                        json.dumps(job.payload),
                    ),
                )

    def set_state(self, key: str, identity: str, state: str, *, error: str = "") -> bool:
        """Move one job to a state, unless it was revised or dropped since it was taken. Gives whether it moved."""
        with self._writing():
            moved = self._db.execute(
                "UPDATE job SET state=?, error=? WHERE key=? AND identity=?", (state, error, key, identity)
            ).rowcount
            if moved and state == "done":
                self._db.execute("DELETE FROM segment WHERE key=?", (key,))
        return bool(moved)

    def move(self, keys: Iterable[str], before: Iterable[str], after: str) -> list[str]:
        """Move those jobs that are in one of the states `before`, with a fresh count. Gives their keys."""
        states = tuple(before)
        with self._writing():
            return [
                key
                for key in keys
                if self._db.execute(
                    "UPDATE job SET state=?, error='', deaths=0, attempts=0 "
                    f"WHERE key=? AND state IN ({','.join('?' * len(states))})",
                    (after, key, *states),
                ).rowcount
            ]

    def count_attempt(self, key: str, *, death: bool = False) -> None:
        """One more attempt, or worker lost, of a job."""
        column = "deaths" if death else "attempts"
        with self._writing():
            self._db.execute(f"UPDATE job SET {column}={column}+1 WHERE key=?", (key,))

    def keep_segment(self, key: str, identity: str, number: int, result: Mapping[str, Any]) -> None:
        """A finished segment: not to be rendered again."""
        with self._writing():
            self._db.execute(
                "INSERT OR REPLACE INTO segment VALUES (?,?,?,?)", (key, identity, number, json.dumps(result))
            )

    def recover(self) -> int:
        """Jobs that a dead runner left running are queued again, uncharged. Gives how many."""
        with self._writing():
            return self._db.execute("UPDATE job SET state='queued' WHERE state='running'").rowcount

    def drop(self, keys: Iterable[str]) -> int:
        """Take jobs out, with what was finished of them. Gives how many."""
        with self._writing():
            gone = 0
            for key in keys:
                gone += self._db.execute("DELETE FROM job WHERE key=?", (key,)).rowcount
                self._db.execute("DELETE FROM segment WHERE key=?", (key,))
            return gone

    # --- reading

    def version(self) -> int:
        """A number that changes when another process has written."""
        return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    def rows(self, *states: str) -> list[QueuedJob]:
        """Jobs in those states (all without any), first to be run first."""
        where = f"WHERE state IN ({','.join('?' * len(states))})" if states else ""
        found = self._db.execute(
            "SELECT key,out,clip,state,priority,identity,frames,added,error,deaths,attempts,payload FROM job "
            f"{where} ORDER BY priority DESC, frames DESC, added, key",
            states,
        ).fetchall()
        return [
            QueuedJob(
                key=r[0],
                out=r[1],
                clip=r[2],
                state=r[3],
                priority=r[4],
                identity=r[5],
                frames=r[6],
                added=r[7],
                error=r[8],
                deaths=r[9],
                attempts=r[10],
                payload=json.loads(r[11]),
            )
            for r in found
        ]

    def segments(self, key: str, identity: str) -> dict[int, dict[str, Any]]:
        """Finished segments of a job by number, those whose files are still there with their sizes."""
        found = self._db.execute(
            "SELECT number,result FROM segment WHERE key=? AND identity=?", (key, identity)
        )
        results = {number: json.loads(result) for number, result in found.fetchall()}
        return {n: r for n, r in results.items() if all(_same(f) for f in r.get("files", ()))}


def _same(file: Mapping[str, Any]) -> bool:
    try:
        return os.stat(file["path"]).st_size == file["bytes"]
    except OSError:
        return False


def open_store(path: Path) -> Store:
    """The queue at that path, made if need be. QueueError where it lies on a network file system or is none."""
    from rushlight.batch.volumes import network_file_system

    kind = network_file_system(path)
    if kind:
        raise QueueError(
            f"lies on a network file system ({kind}), where a database is not safe; give --queue a file on a local disk",
            file=str(path),
        )
    return Store(path)
