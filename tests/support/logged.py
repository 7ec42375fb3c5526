"""The log of an output folder in plain values, as a script of somebody else's has it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rushlight.batch import job_log

__all__ = ["latest", "read_records"]


def read_records(out: Path) -> list[dict[str, Any]]:
    """The records that read, in order."""
    return [record.plain() for record in job_log.read_records(out)]


def latest(records: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """The record that holds of each job."""
    return {record["job"]: record for record in records}
