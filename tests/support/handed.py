"""An output folder of files that are no pictures, with a log that says of them what it would of pictures."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import xxhash

from logged import append_record
from recorded import movie, recorded, still

__all__ = ["deliver", "delivered", "entry_of"]


def entry_of(out: Path, path: str, data: bytes, **given: Any) -> dict[str, Any]:
    """Write a file of an output; gives its entry of the record. A name that ends in .tif is a still's."""
    place = out / path
    place.parent.mkdir(parents=True, exist_ok=True)
    place.unlink(missing_ok=True)  # as a revision does: never into the file that is there
    place.write_bytes(data)
    os.utime(place, ns=(1_700_000_000_123_456_789,) * 2)
    made = still if path.endswith(".tif") else movie
    return made(
        path=path,
        output=path.partition("/")[0],
        bytes=len(data),
        hash=f"xxh3_128:{xxhash.xxh3_128_hexdigest(data)}",
        mtime_ns=1_700_000_000_123_456_789,
        **given,
    )


def deliver(out: Path, job: str, files: dict[str, bytes], *, revision: int = 1, **given: Any) -> None:
    """A clip delivered with these files, as the log has it."""
    entries = [entry_of(out, path, data, revision=revision) for path, data in files.items()]
    append_record(
        out, recorded(job, *entries, revision=revision, finished="2026-11-27T01:00:00+00:00", **given)
    )


def delivered(out: Path) -> Path:
    """Two clips in two outputs."""
    for name in ("A001C001", "A001C002"):
        deliver(
            out,
            name,
            {f"editorial/{name}.mov": name.encode() * 50, f"viewing/{name}.mp4": name[::-1].encode() * 20},
        )
    return out
