"""Errors that nobody expected: one clip's, with the traceback kept in the output folder's log for whoever mends it."""

from __future__ import annotations

import errno
import traceback
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from rushlight.pipelines.errors import FULL, OutsideError, RushlightError, from_os, said
from rushlight.pipelines.inside_folder import append
from rushlight.pipelines.visible_text import visible

__all__ = ["ERRORS", "kept_fault", "unexpected"]

ERRORS = "log/errors.txt"
MOST = 10_000_000  # bytes of tracebacks that are kept
_OF_THE_PLACE = (
    errno.EROFS,
    errno.EACCES,
    errno.EPERM,
    *FULL,
)  # what a disk or a folder's rights say, no fault of ours


def unexpected(out: Path, doing: str, error: Exception) -> str:
    """A sentence on an exception met while `doing` something with one clip; the traceback of one that is not ours is kept.

    A folder that cannot be written to costs the traceback and nothing else.
    """
    if isinstance(error, RushlightError):
        return str(kept_fault(out, doing, error))
    if isinstance(error, OSError) and error.errno in _OF_THE_PLACE:
        return f"{doing} was not possible: {from_os(error, error.filename or out)}"
    place = _keep(out, doing, "".join(traceback.format_exception(error)))
    return f"{doing} ended with a fault of rushlight's own: {said(error)}{place}"


def kept_fault(out: Path, doing: str, error: RushlightError) -> RushlightError:
    """The same error; the traceback that it carries, if any, is kept, and it says where."""
    if not error.trace:
        return error
    text = error.text + _keep(out, doing, error.trace)
    return type(error)(text, file=error.file, line=error.line, key=error.key)


def _keep(out: Path, doing: str, trace: str) -> str:
    """Keep a traceback; gives its file, in brackets, or nothing where it could not be kept."""
    with suppress(OSError, OutsideError):
        when = datetime.now(UTC).isoformat(timespec="seconds")
        with append(out, ERRORS) as stream:
            if stream.tell() < MOST:
                stream.write(visible(f"{when} {doing}\n{trace}\n", lines=True).encode())
        return f" ({ERRORS} shows where)"
    return ""
