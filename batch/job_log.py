"""The log of an output folder: one JSON line a job; the latest record of a clip holds."""

from __future__ import annotations

import fcntl
import os
import re
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Literal

from rushlight.batch.json_lines import Refused, parse_lines
from rushlight.batch.records.colour import SomeColour
from rushlight.batch.records.job_record import (
    SCHEMA,
    JobRecord,
    NotYetRecord,
    UndeliveredRecord,
    is_newer,
    read_record,
)
from rushlight.batch.records.look import SomeLook
from rushlight.batch.records.original import Source
from rushlight.pipelines.errors import OptionError, OutsideError, from_os
from rushlight.pipelines.inside_folder import append, read_bytes
from rushlight.pipelines.visible_text import json_text

__all__ = [
    "LOG",
    "SCHEMA",
    "Log",
    "NotMade",
    "Refused",
    "add_line",
    "append_record",
    "clock_text",
    "failure_record",
    "latest",
    "log_path",
    "newer_text",
    "not_yet_record",
    "read_log",
    "read_records",
    "refuse_newer",
    "refuse_newer_folder",
]

LOG = "log/jobs.jsonl"
_NAMED = re.compile(rb'"schema": ?"([a-z0-9-]{1,40})"')
NotMade = Literal["failed", "set aside", "withdrawn"]


@dataclass(frozen=True, kw_only=True)
class Log:
    """The records of an output folder in order, and what is wrong with the rest of its log.

    `refused` are lines that cost their clip its record; `notes` are sentences on what costs nothing: lines that a later
    record of the clip stands in for, and records of a newer version.
    """

    records: list[JobRecord]
    refused: list[Refused] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def log_path(out: Path) -> Path:
    """The log of an output folder."""
    return out / LOG


def read_records(out: Path) -> list[JobRecord]:
    """The records of `read_log` alone."""
    return read_log(out).records


def read_log(out: Path) -> Log:
    """All records in order, each checked; what is torn, changed or of another hand is told and left out. OutsideError where
    the log lies behind a link."""
    try:
        data = read_bytes(out, LOG)
    except FileNotFoundError:
        return Log(records=[])
    except OSError as error:
        raise from_os(error, log_path(out), reading=True) from None
    found, refused = parse_lines(data, read_record, file=str(log_path(out)))
    last = {name: number for number, record in found for name in (record.job, record.clip)}
    costly: list[Refused] = []
    notes: list[str] = []
    for each in refused:
        if each.mild:
            notes.append(f"{each.error}: a machine that stops while it writes leaves it so")
        elif last.get(each.job or each.clip, 0) > (each.error.line or 0):
            notes.append(f"{each.error}; a later record of {each.name} holds")
        else:
            costly.append(each)
    newer = sorted({record.schema_ for _, record in found if is_newer(record.schema_)})
    if newer:
        notes.append(
            f"{log_path(out)}: holds records of a newer version ({', '.join(newer)}), read as far as {SCHEMA} goes"
        )
    return Log(records=[record for _, record in found], refused=costly, notes=notes)


def newer_text(records: Iterable[JobRecord]) -> str:
    """What is said of a folder that a newer version has made a part of: it is read, and nothing is added to it. Empty of any other."""
    newer = sorted({record.schema_ for record in records if is_newer(record.schema_)})
    named = f"records {', '.join(newer)}, and this one knows {SCHEMA}"
    return f"was rendered into by a newer rushlight ({named}); nothing was changed" if newer else ""


def refuse_newer(out: Path, records: Iterable[JobRecord]) -> None:
    """OptionError where a newer version has made a part of what is there."""
    if text := newer_text(records):
        raise OptionError(f"{text}. Go on with the newer one, or give another --out", file=str(out))


def refuse_newer_folder(out: Path) -> None:
    """`refuse_newer` of a folder of which nothing is read yet. Its log is read as records, which takes a while, only where its text
    names a newer version. What does not read is told by whoever needs it."""
    with suppress(OSError, OutsideError):
        if any(is_newer(name.decode()) for name in set(_NAMED.findall(read_bytes(out, LOG)))):
            refuse_newer(out, read_records(out))


def latest(records: Iterable[JobRecord]) -> dict[str, JobRecord]:
    """The record that holds of each job, by job, in order of first mention."""
    return {record.job: record for record in records}


def append_record(out: Path, record: JobRecord) -> None:
    """Add one record, on the disk before this returns. A torn line before it is closed off first."""
    line = json_text(record.plain(), separators=(",", ":"), allow_nan=False).encode()
    try:
        with append(out, LOG) as stream:
            add_line(stream, line)
    except OSError as error:
        raise from_os(error, log_path(out)) from None


def add_line(stream: BinaryIO, line: bytes) -> None:
    """Add a line to a file that is open for reading and appending: on the disk before this returns, whole or not at all.
    A torn line before it is closed off first. OSError where it cannot be written."""
    handle = stream.fileno()
    with suppress(OSError):  # `queue add` may log a bad row while a night writes; some shares have no locks
        fcntl.flock(handle, fcntl.LOCK_EX)
    size = os.fstat(handle).st_size
    torn = size and os.pread(handle, 1, size - 1) != b"\n"
    data = memoryview((b"\n" if torn else b"") + line + b"\n")
    try:
        while data:
            data = data[os.write(handle, data) :]
        os.fsync(handle)
    except OSError:  # a full disk takes a part
        with suppress(OSError):
            os.ftruncate(handle, size)
        raise


def failure_record(job: str, clip: str, status: NotMade, error: str) -> UndeliveredRecord:
    """Record of a clip that was not delivered."""
    return UndeliveredRecord(
        schema=SCHEMA,
        job=job,
        clip=clip,
        status=status,
        error=error,
        frames=0,
        source=Source(),
        look=SomeLook(),
        outputs=[],
        colour=SomeColour(digest=""),
        warnings=[],
        seconds=0.0,
        finished=clock_text(time.time()),
    )


def not_yet_record(job: str, clip: str) -> NotYetRecord:
    """Record that pages show of a clip that is not made yet."""
    return NotYetRecord.read(failure_record(job, clip, "failed", "").plain() | {"status": "not yet"})


def clock_text(moment: float) -> str:
    """A moment as the local clock shows it, with its offset (ISO 8601)."""
    return datetime.fromtimestamp(moment).astimezone().isoformat(timespec="seconds")
