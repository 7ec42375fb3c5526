"""The queue: one durable row a job, on SQLite on a local disk. Only the runner writes it.

Settings by measurement: rollback journal with `synchronous=EXTRA`, one writer, explicit transactions.
"""

from __future__ import annotations

import errno
import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from rushlight.batch.disks import network_file_system, state_folder
from rushlight.batch.queue.locks import Lock, hold_queue
from rushlight.batch.queue.migrations import VERSION, VERSIONS, migrate
from rushlight.batch.queue.ownership import check_inside, check_ours
from rushlight.batch.queue.queue_rows import (
    COLUMNS,
    DamagedQueue,
    DamagedRow,
    QueuedJob,
    asked_of,
    check_queue,
    orders_text,
    plan_of,
    row_of,
    segment_of,
)
from rushlight.batch.records.queue_row import AskedAgain, QueuedPlan, SegmentFile, SegmentResult
from rushlight.pipelines.errors import QueueError, ResourceError, RushlightError, from_os, no_room
from rushlight.pipelines.job.spec import digest_of

__all__ = ["QueuedJob", "Store", "open_store", "queue_of"]

_SCHEMA = """
CREATE TABLE IF NOT EXISTS about (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS job (
    key TEXT PRIMARY KEY, out TEXT NOT NULL, clip TEXT NOT NULL, state TEXT NOT NULL, priority INTEGER NOT NULL,
    identity TEXT NOT NULL, frames INTEGER NOT NULL, added REAL NOT NULL, payload TEXT NOT NULL, error TEXT NOT NULL DEFAULT '',
    deaths INTEGER NOT NULL DEFAULT 0, attempts INTEGER NOT NULL DEFAULT 0, rank INTEGER NOT NULL DEFAULT 0,
    mount TEXT NOT NULL DEFAULT '', cost REAL NOT NULL DEFAULT 0, planned INTEGER NOT NULL DEFAULT 1,
    orders TEXT NOT NULL DEFAULT '{}');
CREATE INDEX IF NOT EXISTS job_state ON job (state, priority DESC, added);
CREATE TABLE IF NOT EXISTS segment (
    key TEXT NOT NULL, identity TEXT NOT NULL, number INTEGER NOT NULL, result TEXT NOT NULL, PRIMARY KEY (key, number));
"""
BUSY = 30  # seconds that another program may hold the file
_UNREACHED = ("SQLITE_IOERR", "SQLITE_CANTOPEN", "SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH")
_COLUMNS = ",".join(COLUMNS)


class Store:
    """An open queue file. One runner at a time holds its lock; everybody may read."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            path.parent.mkdir(0o700, parents=True, exist_ok=True)
            os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
            self._db = sqlite3.connect(path, timeout=BUSY, isolation_level=None)
            self._db.text_factory = lambda text: text.decode(
                "utf-8", "replace"
            )  # else one byte costs every row
            check_queue(self._db, path, VERSIONS)
            self._db.execute("PRAGMA journal_mode=DELETE")
            self._db.execute("PRAGMA synchronous=EXTRA")
            with self._writing():
                if self._db.execute(
                    "SELECT name FROM sqlite_master WHERE type IN ('trigger','view')"
                ).fetchone():
                    raise sqlite3.DatabaseError("it holds triggers or views, and a queue has none")
                for statement in _SCHEMA.split(";"):
                    self._db.execute(statement)
                self._db.execute("INSERT OR IGNORE INTO about VALUES ('version', ?)", (VERSION,))
                migrate(self._db, path)
            self._db.execute(f"SELECT {_COLUMNS},payload FROM job LIMIT 0")
            self._db.execute("SELECT key,identity,number,result FROM segment LIMIT 0")
        except (sqlite3.Error, OSError, ValueError) as error:
            if not isinstance(error, ValueError) and is_full(error):
                raise from_os(OSError(errno.ENOSPC, ""), path) from None
            if _is_held(error):
                raise self._fault(error, "opened") from None
            raise DamagedQueue(f"is no queue that can be opened: {error}", file=str(path)) from None
        self._lock: Lock | None = None

    def close(self) -> None:
        """Let the file and the lock go."""
        self._db.close()
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _writing(self) -> Iterator[None]:
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield
            self._db.execute("COMMIT")
        except BaseException as error:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error):
                raise self._fault(error, "written") from None
            raise

    def _fault(self, error: BaseException, done: str) -> RushlightError:
        """Ours for what SQLite says when the queue is `done` (read, written): ResourceError where waiting or room would do,
        QueueError where its disk or a permission would, DamagedQueue for all else."""
        name = getattr(error, "sqlite_errorname", "")
        if is_full(error):
            return from_os(OSError(errno.ENOSPC, ""), self.path)
        if _is_held(error):
            text = f"the queue cannot be {done}: another program has held it for {BUSY} s; end that, or try again later"
            return ResourceError(text, file=str(self.path))
        if name.startswith(_UNREACHED):
            text = (
                f"the queue cannot be {done}: {error}. See to its disk and to the permissions of the file and its folder; "
                "then the same command goes on"
            )
            return QueueError(text, file=str(self.path))
        text = (
            f"the queue is damaged: {error}. Put a copy back, or move the file away and add the lists again"
        )
        return DamagedQueue(text, file=str(self.path))

    def _read(self, question: str, *values: object) -> list[tuple[object, ...]]:
        """The rows that answer a question; an error as `_fault` has it."""
        try:
            return self._db.execute(question, values).fetchall()
        except sqlite3.Error as error:
            raise self._fault(error, "read") from None

    def run_alone(self) -> None:
        """Take the runner's lock. QueueError saying who runs where another has it."""
        self._lock = hold_queue(self.path)

    # --- writing

    def add(self, jobs: Iterable[QueuedJob], *, settled: Iterable[str] = ()) -> None:
        """Put jobs in, and take those of the keys `settled` out. One that is there already with the same identity keeps its finished segments and starts with
        a fresh count (one that is running is left alone); another identity takes its place. One that is held stays so."""
        jobs = list(jobs)
        keys = {job.key for job in jobs}
        with self._writing():
            self._delete(key for key in settled if key not in keys)
            for series in {job.key.rpartition("+")[0] or job.key for job in jobs}:
                # The clip's jobs of before, maybe parted otherwise: `series` and all keys that begin with `series+`. A range, since
                # LIKE would not use the index: "," is the character after "+". Keys of 0.1.0 end at the "/".
                stale = self._db.execute(
                    "SELECT key FROM job WHERE (key IN (?, ?) OR key>? AND key<?) AND state<>'running'",
                    (series, series.partition("/")[0], f"{series}+", f"{series},"),
                ).fetchall()
                self._delete(key for (key,) in stale if key not in keys)
            holding = {o for o in {j.out for j in jobs} if self.is_held(Path(o))}
            for job in jobs:
                old = self._db.execute("SELECT identity,state FROM job WHERE key=?", (job.key,)).fetchone()
                if old == (job.identity, "running"):
                    continue
                if old and old[0] != job.identity:
                    self._db.execute("DELETE FROM segment WHERE key=?", (job.key,))
                self._db.execute(
                    "INSERT OR REPLACE INTO job (key,out,clip,state,priority,identity,frames,added,rank,mount,cost,planned,"
                    "error,orders,payload) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
                    (
                        job.key,
                        job.out,
                        _utf8(job.clip),
                        "held" if _is_to_wait(job, old, holding) else job.state,
                        job.priority,
                        job.identity,
                        job.frames,
                        job.added,
                        job.orders.rank,
                        job.mount,
                        job.orders.cost,
                        job.planned,
                        _utf8(job.error),
                        orders_text(job.orders),
                        json.dumps(job.payload),
                    ),
                )

    def set_state(self, key: str, identity: str, state: str, *, error: str = "") -> bool:
        """Move one job to a state, unless it was revised or dropped since it was taken. Gives whether it moved."""
        with self._writing():
            moved = self._db.execute(
                "UPDATE job SET state=?, error=? WHERE key=? AND identity=?",
                (state, _utf8(error), key, identity),
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
                    f"WHERE key=? AND planned AND state IN ({','.join('?' * len(states))})",
                    (after, key, *states),
                ).rowcount
            ]

    def count_attempt(self, key: str, *, death: bool = False) -> None:
        """One more attempt, or worker lost, of a job."""
        column = "deaths" if death else "attempts"
        with self._writing():
            self._db.execute(f"UPDATE job SET {column}={column}+1 WHERE key=?", (key,))

    def keep_segments(self, segments: Iterable[tuple[str, str, int, SegmentResult]]) -> None:
        """Finished segments (key, identity, number, result): not to be rendered again. On the disk before this returns."""
        with self._writing():
            self._db.executemany(
                "INSERT OR REPLACE INTO segment VALUES (?,?,?,?)",
                [
                    (key, identity, number, json.dumps(result.plain()))
                    for key, identity, number, result in segments
                ],
            )

    def recover(self) -> int:
        """Jobs that a dead runner left running are queued again (held, where their folder is), uncharged. Gives how many."""
        with self._writing():
            return self._db.execute(
                "UPDATE job SET state=CASE WHEN EXISTS (SELECT 1 FROM about WHERE about.key='held ' || job.out) "
                "THEN 'held' ELSE 'queued' END WHERE state='running'"
            ).rowcount

    def drop(self, keys: Iterable[object]) -> int:
        """Take jobs out, with what was finished of them. Gives how many."""
        with self._writing():
            return self._delete(keys)

    def _delete(self, keys: Iterable[object]) -> int:
        gone = 0
        for key in keys:
            gone += self._db.execute("DELETE FROM job WHERE key=?", (key,)).rowcount
            self._db.execute("DELETE FROM segment WHERE key=?", (key,))
        return gone

    def hold_folder(self, out: Path) -> None:
        """Hold what is queued of an output folder and what joins, until `release_folder`."""
        with self._writing():
            self._db.execute(
                "UPDATE job SET state='held' WHERE out=? AND state='queued' AND planned", (str(out),)
            )
            self._db.execute("INSERT OR IGNORE INTO about VALUES (?, 'yes')", (f"held {out}",))

    def release_folder(self, out: Path) -> int:
        """Queue all that is held of an output folder, and what joins. Gives how many jobs were held."""
        with self._writing():
            self._db.execute("DELETE FROM about WHERE key=?", (f"held {out}",))
            return self._db.execute(
                "UPDATE job SET state='queued' WHERE out=? AND state='held' AND planned", (str(out),)
            ).rowcount

    # --- reading

    def is_held(self, out: Path) -> bool:
        """True if jobs that join for an output folder are held."""
        return bool(self._read("SELECT 1 FROM about WHERE key=?", f"held {out}"))

    def check(self) -> None:
        """QueueError where the file's pages are damaged, which otherwise shows when they are read."""
        found = self._read("PRAGMA quick_check(1)")
        if found != [("ok",)]:
            raise self._fault(sqlite3.DatabaseError(str(found[0][0] if found else "")[:100]), "read")

    def version(self) -> int:
        """A number that changes when another process has written."""
        return int(str(self._read("PRAGMA data_version")[0][0]))

    def rows(self, *states: str) -> list[QueuedJob]:
        """Jobs in those states (all without any), first to be run first, each without its payload; none that is damaged."""
        where = f"WHERE state IN ({','.join('?' * len(states))})" if states else ""
        found: list[QueuedJob] = []
        for row in self._named(f"{where} ORDER BY priority DESC, rank, frames DESC, added, key", *states):
            with suppress(DamagedRow):
                found.append(row_of(row))
        return found

    def damaged_rows(self) -> list[tuple[object, str]]:
        """The key of each row that cannot be used, and what is wrong with it, by clip and column."""
        found: list[tuple[object, str]] = []
        for row in self._named("ORDER BY key"):
            try:
                row_of(row)
            except DamagedRow as error:
                text = f"{self.path}: the row of {_text(row['clip'])}: {error}; it is left as it is"
                found.append((row["key"], text))
        return found

    def _named(self, rest: str, *values: object) -> Iterator[dict[str, object]]:
        for row in self._read(f"SELECT {_COLUMNS} FROM job {rest}", *values):
            yield dict(zip(COLUMNS, row, strict=True))

    def count(self, *states: str) -> int:
        """Number of jobs in those states."""
        return len(self.rows(*states))

    def plan(self, key: str, identity: str) -> QueuedPlan | None:
        """A job as it was planned; None where it was revised or dropped meanwhile. DamagedRow where it does not read."""
        found = self._read("SELECT payload FROM job WHERE key=? AND identity=?", key, identity)
        return plan_of(found[0][0]) if found else None

    def payloads(self, *states: str) -> list[object]:
        """What was planned of the jobs in those states, unread: whoever wants little of many reads that alone."""
        wanted = f"planned AND state IN ({','.join('?' * len(states))})"
        return [payload for (payload,) in self._read(f"SELECT payload FROM job WHERE {wanted}", *states)]

    def unplanned(self, out: Path) -> list[str]:
        """Keys of an output folder's rows that could not be planned."""
        found = self._read("SELECT key FROM job WHERE NOT planned AND out=?", str(out))
        return [key for (key,) in found if isinstance(key, str)]

    def asked(self, key: str, identity: str) -> AskedAgain | None:
        """The request of a row that could not be planned, otherwise as `plan`."""
        found = self._read("SELECT payload FROM job WHERE key=? AND identity=?", key, identity)
        return asked_of(found[0][0]) if found else None

    def segments(self, key: str, identity: str) -> dict[int, SegmentResult]:
        """Finished segments of a job by number, those that read and whose files are still there with their sizes."""
        found = self._read("SELECT number,result FROM segment WHERE key=? AND identity=?", key, identity)
        results = {number: segment_of(result) for number, result in found if isinstance(number, int)}
        return {n: made for n, made in results.items() if made is not None and all(map(_same, made.files))}

    def frames_made(self) -> dict[str, int]:
        """Frames of finished segments, by key of their jobs; of jobs that have none, nothing."""
        found: dict[str, int] = {}
        for key, result in self._read(
            "SELECT segment.key, result FROM segment JOIN job ON job.key = segment.key AND job.identity = segment.identity"
        ):
            made = segment_of(result)
            if made is not None:
                found[str(key)] = found.get(str(key), 0) + made.frames
        return found


def _is_to_wait(job: QueuedJob, old: tuple[str, str] | None, holding: set[str]) -> bool:
    """True if a job that joins is held: it was before, or its folder is; a bad row never is."""
    return (old is not None and old[1] == "held") or (job.planned and job.out in holding)


def _text(name: object) -> str:
    return name if isinstance(name, str) else repr(name)[:60]


def _same(file: SegmentFile) -> bool:
    try:
        return os.stat(file.path).st_size == file.bytes
    except OSError:
        return False


def _is_held(error: BaseException) -> bool:
    """True if another program has the database, and holds on to it."""
    return getattr(error, "sqlite_errorname", "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))


def is_full(error: BaseException) -> bool:
    """True if a database or its folder could not be written for want of room. A quota shows as a failed
    write."""
    name = getattr(error, "sqlite_errorname", "")
    return no_room(error) or name in ("SQLITE_FULL", "SQLITE_IOERR_WRITE")


def queue_of(out: Path) -> Path:
    """The queue of `render` into a folder: inside it, or in the state folder where it lies on a network share."""
    if network_file_system(out):
        return state_folder() / "renders" / f"{digest_of(str(out), 16)}.sqlite"
    return out / ".work" / "queue.sqlite"


def open_store(path: Path, *, of: Path | None = None) -> Store:
    """The queue at that path, made if need be; one in the output folder `of` holds nothing but what is put into it now.

    QueueError where it lies on a network file system or is none, and where somebody else may have written it.
    """
    kind = network_file_system(path)
    if kind:
        raise QueueError(
            f"lies on a network file system ({kind}), where a database is not safe; "
            "give --queue a file on a local disk, or XDG_STATE_HOME a folder on one",
            file=str(path),
        )
    if of and path.is_relative_to(of):
        check_inside(of, path.relative_to(of).as_posix())
    else:
        check_ours(path)
    return Store(path)


def _utf8(text: str) -> str:
    """A text that the database takes: a name need not be UTF-8."""
    return text.encode(errors="backslashreplace").decode()
