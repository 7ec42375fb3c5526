"""Errors that nobody expected: one clip's, with the traceback kept in the output folder's log for whoever mends it."""

from __future__ import annotations

import os
import traceback
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from rushlight.pipelines.errors import RushlightError

__all__ = ["ERRORS", "unexpected"]

ERRORS = "log/errors.txt"
LONGEST = 200  # characters of what a library says
MOST = 10_000_000  # bytes of tracebacks that are kept


def unexpected(out: Path, doing: str, error: Exception) -> str:
    """A sentence on an exception met while `doing` something with one clip; the traceback of one that is not ours is kept.

    A folder that cannot be written to costs the traceback and nothing else.
    """
    if isinstance(error, RushlightError):
        return str(error)
    said = " ".join(str(error).split())
    said = f"{type(error).__name__}: {said if len(said) <= LONGEST else said[:LONGEST] + '…'}"
    when = datetime.now(UTC).isoformat(timespec="seconds")
    trace = "".join(traceback.format_exception(error))
    place = ""
    with suppress(OSError):
        flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK
        with os.fdopen(os.open(out / ERRORS, flags, 0o666), "ab") as stream:
            if stream.tell() < MOST:
                stream.write(f"{when} {doing}\n{trace}\n".encode("utf-8", "backslashreplace"))
        place = f" ({ERRORS} shows where)"
    return f"{doing} ended with a fault of rushlight's own: {said}{place}"
