"""The final name of a file, which it gets once it is complete and checked. Nothing that stands there is lost by it.

The runner puts by what a job's record counts (`run/revisions.py`). Whatever else stands at the name is kept here, right before
it would go: a file that its record counts no more, one whose record was lost, one that is not as it was recorded, anybody's. A file that
is the new one to the last byte is what a finish left that was killed, and is nothing to keep.
"""

from __future__ import annotations

import errno
import os
from pathlib import Path

from rushlight.batch.job_log import read_records
from rushlight.batch.kept_revisions import free_place, linked_place
from rushlight.batch.records.job_record import Replaced
from rushlight.pipelines.errors import OutsideError, RushlightError, from_os
from rushlight.pipelines.inside_folder import link, move, path_of, same_time, stat_of
from rushlight.pipelines.measure.checksum import file_hash

__all__ = ["place"]


def place(out: Path, temporary: str, final: str, output: str) -> list[Replaced]:
    """Give a complete, checked file of an output folder its final name there, durably. Gives what stood there, where it is kept now: the
    runner says what and why. The errors of `from_os` where there is no room to keep it: then it stands as it did."""
    try:
        stood = _stood(out, temporary, final, output)
        try:
            move(out, temporary, final, sync=True)
        except FileNotFoundError:  # its folder was empty, and was removed at that moment
            move(out, temporary, final, sync=True)
    except OSError as error:
        raise from_os(error, out / final) from None
    return stood


def _stood(out: Path, temporary: str, final: str, output: str) -> list[Replaced]:
    """The file that stands at a name and is not the new one, kept now."""
    try:
        info = stat_of(out, final)
    except (FileNotFoundError, OutsideError):  # a link goes, and what it leads to stays
        return []
    except OSError as error:
        if error.errno == errno.EINVAL:
            return []  # a folder takes no file's place, a pipe has no bytes
        raise
    kept = linked_place(out, final)
    if not kept:
        if _is_the_new_one(out, temporary, final):
            return []
        kept = free_place(out, final, _revision(out, final, info))
        link(out, final, kept)
    number = int(kept.split("/")[1])
    return [
        Replaced(
            output=output,
            path=final,
            revision=number,
            kept=kept,
            why="",
            bytes=info.st_size,
            mtime_ns=max(0, info.st_mtime_ns),
        )
    ]


def _is_the_new_one(out: Path, temporary: str, final: str) -> bool:
    """True if two files are alike to the last byte; one that does not read is not."""
    try:
        new, old = (path_of(out, name) for name in (temporary, final))
        return new.stat().st_size == old.stat().st_size and file_hash(new) == file_hash(old)
    except (OSError, RushlightError):
        return False


def _revision(out: Path, path: str, info: os.stat_result) -> int:
    """Revision that a file was made in, as the log has it; of one that the log does not know, the last of its name; 1 of any other."""
    try:
        records = read_records(out)
    except RushlightError:
        return 1
    ever = [entry for record in records for entry in record.outputs if entry.path == path]
    same = [e for e in ever if e.bytes == info.st_size and same_time(e.mtime_ns, info.st_mtime_ns)]
    return (same or ever)[-1].revision if ever else 1
