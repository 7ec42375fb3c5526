"""An output folder with revisions, of files that are no pictures: its log says of each what it would of pictures."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

from handed import entry_of
from logged import append_record, latest, read_records
from recorded import recorded

__all__ = ["NOW", "moment", "revise", "revised"]

NOW = datetime(2026, 11, 28, 4, 0, tzinfo=UTC)


def moment(days: float) -> str:
    """So many days before NOW, as a record has it."""
    return (NOW - timedelta(days=days)).isoformat()


def revise(out: Path, job: str, files: dict[str, bytes], *, days: float = 0.0, keep: bool = True) -> None:
    """A clip delivered, or delivered again `days` before NOW: what it replaces is kept under its revision, as the log says."""
    known = latest(read_records(out)) if (out / "log").exists() else {}
    before = known.get(job, {}).get("outputs", [])
    number = known[job]["revision"] + 1 if job in known else 1
    said, kept = [], [old for old in before if old["path"] not in files]
    for old in before:
        if old["path"] in files:
            place = f"revisions/{old['revision']}/{old['path']}"
            (out / place).parent.mkdir(parents=True, exist_ok=True)
            if keep:
                os.link(out / old["path"], out / place)
            said.append(
                {
                    "output": old["output"],
                    "path": old["path"],
                    "revision": old["revision"],
                    "kept": place if keep else "",
                    "hash": old["hash"],
                    "why": "another look",
                }
            )
    entries = [entry_of(out, path, data, revision=number) for path, data in files.items()]
    record = recorded(job, *kept, *entries, revision=number, finished=moment(days))
    append_record(out, record | ({"replaced": said} if said else {}))


def revised(out: Path, revisions: int = 4) -> Path:
    """Two clips in two outputs; the first has so many revisions, each a day after the one before, the last today."""
    for number in range(revisions):
        data = f"A001C001 revision {number + 1}".encode() * (number + 1)
        files = {"editorial/A001C001.mov": data, "viewing/A001C001.mp4": data[::-1]}
        revise(out, "A001C001", files, days=revisions - 1 - number)
    revise(out, "A001C002", {"editorial/A001C002.mov": b"two", "viewing/A001C002.mp4": b"2"}, days=9)
    return out
