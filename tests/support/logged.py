"""The log of an output folder in plain values, as a script of somebody else's has it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rushlight.batch import job_log

__all__ = ["append_record", "latest", "read_records"]


def append_record(out: Path, record: Mapping[str, Any]) -> None:
    """Add a line to the log, whatever it holds."""
    path = job_log.log_path(out)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("ab+") as stream:
        job_log.add_line(stream, json.dumps(record).encode())


def read_records(out: Path) -> list[dict[str, Any]]:
    """The records that read, in order."""
    return [record.plain() for record in job_log.read_records(out)]


def latest(records: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """The record that holds of each job."""
    return {record["job"]: record for record in records}
