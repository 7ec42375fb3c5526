"""The log of an output folder: one JSON line a job; the latest record of a clip holds."""

from __future__ import annotations

import fcntl
import json
import os
import time
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from rushlight.pipelines.errors import OptionError, from_os

__all__ = ["SCHEMA", "append_record", "clock_text", "failure_record", "latest", "log_path", "read_records"]

SCHEMA = "rushlight-job-1"


def log_path(out: Path) -> Path:
    """The log of an output folder."""
    return out / "log" / "jobs.jsonl"


def read_records(out: Path) -> list[dict[str, Any]]:
    """All records in order. A torn last line (the machine stopped there) is left out; OptionError for another schema."""
    try:
        lines = log_path(out).read_bytes().split(b"\n")
    except FileNotFoundError:
        return []
    except OSError as error:
        raise from_os(error, log_path(out), reading=True) from None
    found = []
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            record = json.loads(line)
        except ValueError:
            continue
        if record.get("schema") != SCHEMA:
            raise OptionError(
                f"is a record of schema {record.get('schema')!r}; this reads {SCHEMA}",
                file=str(log_path(out)),
                line=number,
            )
        found.append(record)
    return found


def latest(records: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """The record that holds of each job, by job, in order of first mention."""
    found: dict[str, dict[str, Any]] = {}
    for record in records:
        found[record["job"]] = record
    return found


def append_record(out: Path, record: Mapping[str, Any]) -> None:
    """Add one record, on the disk before this returns. A torn line before it is closed off first."""
    path = log_path(out)
    line = json.dumps(record, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode(
        "utf-8", "surrogateescape"
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("ab+") as stream:
            with suppress(
                OSError
            ):  # `queue add` may log a bad row while a night writes; some shares have no locks
                fcntl.flock(stream, fcntl.LOCK_EX)
            if stream.tell():
                stream.seek(-1, os.SEEK_END)
                if stream.read(1) != b"\n":
                    stream.write(b"\n")
            stream.write(line + b"\n")
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        raise from_os(error, path) from None


def merged(record: dict[str, Any], before: Mapping[str, Any] | None, keep: set[str]) -> dict[str, Any]:
    """A new record with what still holds of the one before: the entries of outputs in `keep`, their pictures and tiles."""
    from rushlight.pipelines.checksum import colour_digest

    if not before or not before.get("outputs") or not keep:
        return record
    made = {e["output"] for e in record["outputs"]}
    record["outputs"] = [e for e in before["outputs"] if e["output"] in keep - made] + record["outputs"]
    colour, old = record["colour"], before.get("colour", {})
    for picture in old.get("pictures", ()):
        outputs = [o for o in picture["outputs"] if o in keep - made]
        if outputs:
            colour["pictures"].append({**picture, "outputs": outputs})
    colour["tiles"] = {
        **{k: v for k, v in old.get("tiles", {}).items() if k in keep - made},
        **colour["tiles"],
    }
    for faults in old.get("faults", ()):
        outputs = [o for o in faults["outputs"] if o in keep - made]
        if outputs:
            colour["faults"] = [*colour.get("faults", ()), {**faults, "outputs": outputs}]
    if not record.get("original"):
        record["original"] = before.get("original", {})
    if not colour["sensitivity"]:
        colour["sensitivity"] = old.get("sensitivity", {})
    colour["digest"] = colour_digest(
        {o: p["digest"] for p in colour["pictures"] for o in p["outputs"]}
        | {e["path"]: e["digest"] for e in record["outputs"] if e["kind"] == "still"}
    )
    return record


def failure_record(job: str, clip: str, status: str, error: str) -> dict[str, Any]:
    """The record of a clip that was not delivered."""
    return {
        "schema": SCHEMA,
        "job": job,
        "clip": clip,
        "status": status,
        "error": error,
        "frames": 0,
        "source": {},
        "look": {},
        "outputs": [],
        "colour": {"digest": ""},
        "warnings": [],
        "seconds": 0.0,
        "finished": clock_text(time.time()),
    }


def clock_text(moment: float) -> str:
    """A moment as the local clock shows it, with its offset (ISO 8601)."""
    return datetime.fromtimestamp(moment).astimezone().isoformat(timespec="seconds")
