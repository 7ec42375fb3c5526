"""Queue files of earlier versions, made into this one's.

1: the first. 2: rank, mount and cost of a job. 3: rows that could not be planned. 4: a turn's orders in a column of their own; before,
they stood among what the job's record says.
"""

from __future__ import annotations

import json
import sqlite3

from rushlight.batch.json_lines import plain_json

__all__ = ["VERSION", "VERSIONS", "migrate"]

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


def migrate(db: sqlite3.Connection) -> None:
    """Bring a queue's tables to this version, within the caller's transaction. A job that does not read is left as it is."""
    (version,) = db.execute("SELECT value FROM about WHERE key='version'").fetchone()
    for later in VERSIONS[VERSIONS.index(version) + 1 :]:
        for column in _COLUMNS[later]:
            db.execute(f"ALTER TABLE job ADD COLUMN {column}")
        if later == "4":
            _orders_apart(db)
        db.execute("UPDATE about SET value=? WHERE key='version'", (later,))


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
