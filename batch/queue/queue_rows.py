"""Rows of a queue's file as they must be for us to use it: its tables, and the types of a row, a job and a
finished segment.

A queue is a file that anything may have happened to. What is wrong with one row costs that row.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from rushlight.batch.json_lines import plain_json
from rushlight.batch.queue.state_machine import JobState
from rushlight.batch.records.queue_row import AskedAgain, QueuedPlan, SegmentResult
from rushlight.batch.records.shape import Shape, check_shape
from rushlight.pipelines.errors import OptionError, QueueError

__all__ = ["DamagedQueue", "DamagedRow", "check_queue", "job_of", "row_fault", "segment_of"]

_FIRST = "key,out,clip,state,priority,identity,frames,added,payload,error,deaths,attempts"  # of every version
TABLES = {"about", "job", "segment"}
_CLASSES: Mapping[str, tuple[type, ...]] = {
    "str": (str,),
    "int": (int,),
    "float": (int, float),
    "bool": (int,),
}
_MOST = 2**53


class DamagedQueue(QueueError):
    """The file is no queue that this version can use."""


class DamagedRow(QueueError):
    """One row of a queue cannot be used; the others can."""


def check_queue(db: sqlite3.Connection, path: Path, versions: tuple[str, ...]) -> None:
    """QueueError for a database that is of something else, or of a version that is not one of `versions`. Nothing is written."""
    tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type='table'")}
    if tables and not tables >= TABLES:
        raise DamagedQueue(
            "is a database of something else; --queue takes a queue of rushlight's, or a new file",
            file=str(path),
        )
    if tables:
        db.execute(f"SELECT {_FIRST} FROM job LIMIT 0")
        found = db.execute("SELECT value FROM about WHERE key='version'").fetchone()
        if found is None or found[0] not in versions:
            version = "no version" if found is None else f"version {found[0]!r}"[:60]
            raise DamagedQueue(f"is a queue of {version}; this reads {versions[-1]}", file=str(path))


def row_fault(values: Mapping[str, object], kinds: Mapping[str, str]) -> str:
    """The fault of a row, by its column; empty where nothing is. `kinds`: the type's name of each column."""
    for name, value in values.items():
        classes = _CLASSES[kinds[name]]
        if not isinstance(value, classes):
            return f"{name} is {_shown(value)}, where {kinds[name]} is needed"
        if isinstance(value, int | float) and not (math.isfinite(value) and abs(value) <= _MOST):
            return f"{name} is {_shown(value)}"
    for name in ("key", "out", "clip"):
        if not values[name] or "\0" in str(values[name]):
            return f"{name} is {_shown(values[name])}"
    if values["state"] not in get_args(JobState):
        return f"state is {_shown(values['state'])}, which is none that this version knows"
    return ""


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _plain(text: object, shape: type[Shape], what: str) -> dict[str, Any]:
    try:
        value = plain_json(text.encode("utf-8", "surrogatepass") if isinstance(text, str) else b"")
        check_shape(shape, value)
    except (ValueError, OptionError) as error:
        raise DamagedRow(f"{what} {error}") from None
    return dict(value) if isinstance(value, dict) else {}


def job_of(text: object, *, planned: bool = True) -> dict[str, Any]:
    """A job in plain values, or what was asked for of a row that could not be planned. DamagedRow where it is none."""
    return _plain(
        text, QueuedPlan if planned else AskedAgain, "its row in the queue is damaged, add its list again:"
    )


def segment_of(text: object) -> dict[str, Any] | None:
    """A finished segment as the queue has it; None where that does not read, so that it is rendered again."""
    try:
        return _plain(text, SegmentResult, "")
    except DamagedRow:
        return None
