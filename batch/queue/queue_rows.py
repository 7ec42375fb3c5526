"""Rows of a queue's file as they must be for us to use it: its tables, and the types of a row, a job and a
finished segment.

A queue is a file that anything may have happened to. What is wrong with one row costs that row.
"""

from __future__ import annotations

import json
import math
import re
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TypeVar, get_args

from pydantic import TypeAdapter

from rushlight.batch.json_lines import plain_json
from rushlight.batch.queue.state_machine import JobState
from rushlight.batch.records.queue_row import AskedAgain, QueuedPlan, SegmentResult, TurnOrders
from rushlight.batch.records.shape import Shape
from rushlight.pipelines.errors import OptionError, QueueError

__all__ = [
    "COLUMNS",
    "DamagedQueue",
    "DamagedRow",
    "NewerQueue",
    "QueuedJob",
    "asked_of",
    "check_queue",
    "orders_text",
    "plan_of",
    "row_of",
    "segment_of",
]

_FIRST = "key,out,clip,state,priority,identity,frames,added,payload,error,deaths,attempts"  # of every version
TABLES = {"about", "job", "segment"}
COLUMNS: Mapping[str, type] = {
    **{name: str for name in ("key", "out", "clip", "state", "identity", "error", "mount", "orders")},
    **{name: int for name in ("priority", "frames", "deaths", "attempts", "rank", "planned")},
    **{name: float for name in ("added", "cost")},
}
_ORDERED_BY = ("rank", "cost")  # orders that have a column of their own
_MOST = 2**53

T = TypeVar("T", bound=Shape)


class DamagedQueue(QueueError):
    """The file is no queue that this version can use."""


class NewerQueue(QueueError):
    """A later version wrote the file: nothing of it is lost, and this version leaves it alone."""


class DamagedRow(QueueError):
    """One row of a queue cannot be used; the others can."""


def check_queue(db: sqlite3.Connection, path: Path, versions: tuple[str, ...]) -> None:
    """DamagedQueue for a database that is of something else, NewerQueue for one of a version after `versions`. Nothing is written."""
    tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type='table'")}
    if tables and not tables >= TABLES:
        raise DamagedQueue(
            "is a database of something else; --queue takes a queue of rushlight's, or a new file",
            file=str(path),
        )
    if tables:
        found = db.execute("SELECT value FROM about WHERE key='version'").fetchone()
        if found is None or found[0] not in versions:
            if found and re.fullmatch(r"\d{1,6}", str(found[0])) and int(found[0]) > int(versions[-1]):
                raise NewerQueue(
                    f"is a queue of version {found[0]}, which a newer rushlight wrote; this one reads up to version {versions[-1]} and"
                    " has changed nothing. Go on with the newer one",
                    file=str(path),
                )
            version = "no version" if found is None else f"version {found[0]!r}"[:60]
            raise DamagedQueue(f"is a queue of {version}; this reads {versions[-1]}", file=str(path))
        db.execute(f"SELECT {_FIRST} FROM job LIMIT 0")


@dataclass(frozen=True, kw_only=True)
class QueuedJob:
    """One row of the queue."""

    key: str  # clip and output folder, "/" and what tells recipes apart, "+" and the rank if it has one
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
    mount: str = ""  # where the disk of its outputs was mounted when it was queued
    planned: bool = (
        True  # False for a row that could not be planned: it waits for a person, never for a worker
    )
    orders: TurnOrders = field(default_factory=TurnOrders)
    payload: Mapping[str, object] = field(
        default_factory=dict
    )  # a QueuedPlan or AskedAgain in plain values; rows are read without

    @property
    def clip_key(self) -> str:
        """Clip and output folder: alike for all jobs that make a clip's outputs there, of whatever recipe and rank."""
        return self.key.partition("/")[0]


@cache
def _jobs() -> TypeAdapter[QueuedJob]:
    return TypeAdapter(QueuedJob)


def row_of(values: Mapping[str, object]) -> QueuedJob:
    """A row by its columns as a job, without its payload. DamagedRow naming the column that is wrong."""
    if fault := _fault(values):
        raise DamagedRow(fault)
    try:
        orders = plain_json(str(values["orders"]).encode())
        if not isinstance(orders, dict):
            raise ValueError("is no JSON object")
        orders = TurnOrders.read({**orders, **{name: values[name] for name in _ORDERED_BY}})
    except ValueError as error:
        raise DamagedRow(f"orders {error}") from None
    except OptionError as error:
        raise DamagedRow(str(error.at(key="orders"))) from None
    given = {name: value for name, value in values.items() if name not in _ORDERED_BY}
    return _jobs().validate_python({**given, "planned": bool(values["planned"]), "orders": orders})


def orders_text(orders: TurnOrders) -> str:
    """A turn's orders for their column: those that have no column of their own."""
    return json.dumps({k: v for k, v in orders.plain().items() if k not in _ORDERED_BY})


def _fault(values: Mapping[str, object]) -> str:
    """The fault of a row, by its column; empty where nothing is."""
    for name, value in values.items():
        needed = COLUMNS[name]
        if not isinstance(value, (int, float) if needed is float else needed):
            return f"{name} is {_shown(value)}, where {needed.__name__} is needed"
        if isinstance(value, int | float) and not (math.isfinite(value) and abs(value) <= _MOST):
            return f"{name} is {_shown(value)}"
    for name in ("key", "out", "clip"):
        if not values[name] or "\0" in str(values[name]):
            return f"{name} is {_shown(values[name])}"
    if values["state"] not in get_args(JobState):
        return f"state is {_shown(values['state'])}, which this version does not know"
    return ""


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def plan_of(text: object) -> QueuedPlan:
    """A job as it was planned. DamagedRow where it is none."""
    return _read(text, QueuedPlan)


def asked_of(text: object) -> AskedAgain:
    """The request of a row that could not be planned. DamagedRow where it is none."""
    return _read(text, AskedAgain)


def segment_of(text: object) -> SegmentResult | None:
    """A finished segment as the queue has it; None where that does not read, so that it is rendered again."""
    try:
        return _read(text, SegmentResult)
    except DamagedRow:
        return None


def _read(text: object, shape: type[T]) -> T:
    try:
        return shape.read(plain_json(text.encode("utf-8", "surrogatepass") if isinstance(text, str) else b""))
    except (ValueError, OptionError) as error:
        raise DamagedRow(f"its row in the queue is damaged, add its list again: {error}") from None
