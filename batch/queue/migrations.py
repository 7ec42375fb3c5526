"""Queue files of earlier versions, made into this one's.

1: the first. 2: rank, mount and cost of a job. 3: rows that could not be planned. 4: a turn's orders in a column of their own; before,
they stood among what the job's record says.

A queue of an earlier version is copied first, beside itself as `NAME.version-N`, and changed in one transaction: killed in between, or with
the disk full, it is as it was.
"""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from rushlight.batch.json_lines import plain_json

__all__ = ["VERSION", "VERSIONS", "copy_of", "migrate"]

VERSIONS = ("1", "2", "3", "4")
VERSION = VERSIONS[-1]

_COLUMNS = {  # that a version brought
    "2": (
        "rank INTEGER NOT NULL DEFAULT 0",
        "mount TEXT NOT NULL DEFAULT ''",
        "cost REAL NOT NULL DEFAULT 0",
    ),
    "3": ("planned INTEGER NOT NULL DEFAULT 1",),
    "4": ("orders TEXT NOT NULL DEFAULT '{}'",),
}
_IN_COLUMNS = ("rank", "cost")  # since version 2, and in the record as well
_ORDERS = ("kept_outputs", "earlier_outputs", "later_outputs", "replaced")


def copy_of(path: Path, version: str) -> Path:
    """The place of the copy of a queue as that earlier version left it."""
    return path.with_name(f"{path.name}.version-{version}")


def migrate(db: sqlite3.Connection, path: Path) -> None:
    """Bring a queue's tables to this version, within the caller's transaction, once its file is copied. A job that does not read is
    left as it is. sqlite3.Error or OSError where there is no room."""
    (version,) = db.execute("SELECT value FROM about WHERE key='version'").fetchone()
    if version != VERSION:
        _keep_copy(path, copy_of(path, version))
    for later in VERSIONS[VERSIONS.index(version) + 1 :]:
        for column in _COLUMNS[later]:
            db.execute(f"ALTER TABLE job ADD COLUMN {column}")
        if later == "4":
            _orders_apart(db)
        db.execute("UPDATE about SET value=? WHERE key='version'", (later,))


def _keep_copy(path: Path, copy: Path) -> None:
    """A copy of a queue's file, on the disk before this returns; in place of one that an earlier try left. The caller's transaction
    keeps others from writing. By SQLite's own means: a file opened beside it would let go of its locks when closed."""
    part = copy.with_name(f".{copy.name}.part")
    try:
        with suppress(FileNotFoundError):
            part.unlink()
        os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600))
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(part)) as target:
            target.execute("PRAGMA synchronous=FULL")
            source.backup(target)  # not of the caller's connection: one that writes cannot be copied from
        os.replace(part, copy)
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise


def _orders_apart(db: sqlite3.Connection) -> None:
    for (row,) in db.execute("SELECT rowid FROM job").fetchall():
        ((payload,),) = db.execute("SELECT payload FROM job WHERE rowid=?", (row,)).fetchall()
        try:
            job = plain_json(payload.encode("utf-8", "surrogatepass") if isinstance(payload, str) else b"")
        except ValueError:
            continue
        record = job.get("record") if isinstance(job, dict) else None
        if not isinstance(record, dict):
            continue
        orders = {name: record.pop(name) for name in _ORDERS if name in record}
        for name in _IN_COLUMNS:
            record.pop(name, None)
        db.execute(
            "UPDATE job SET orders=?, payload=? WHERE rowid=?", (json.dumps(orders), json.dumps(job), row)
        )
