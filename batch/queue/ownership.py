"""Ownership of a queue: it must have been written by its user alone, since its rows say what is read and
where it is written to.

A queue is refused where another user owns it or may write it, or its folder, in which SQLite puts journals beside it: the
sticky bit of /tmp does not keep others from that. A group counts as others, unless it is the user's private one (its
name is the user's and nobody else is in it), as many systems have it with a umask of 002. Root is no other.
"""

from __future__ import annotations

import grp
import os
import pwd
import stat
from contextlib import suppress
from pathlib import Path

from rushlight.batch.records.queue_row import QueuedPlan
from rushlight.pipelines.errors import OutsideError, QueueError
from rushlight.pipelines.inside_folder import file_name, open_file, stat_of

__all__ = ["SIDES", "check_inside", "check_job", "check_ours"]

SIDES = ("", "-journal", "-wal", "-shm")
_SUPER = bytes.fromhex(
    "d9d505f920a163d7"
)  # the end of a journal that names another (SQLite file format, section 3)


def check_ours(queue: Path) -> None:
    """QueueError where somebody else owns or may write a user's queue or its folder, and what would do."""
    real = Path(os.path.realpath(queue))
    for place in (Path(os.path.realpath(queue.parent)), real.parent, *(Path(f"{real}{s}") for s in SIDES)):
        with suppress(FileNotFoundError):
            info = place.stat()
            if who := _others(info):
                what = "folder" if stat.S_ISDIR(info.st_mode) else "file"
                raise QueueError(
                    f"the {what} {place} {who}. A queue says what is rendered and where to, so nobody else may write it: "
                    "give --queue a file in a folder of your own, or take the others' permission away (chmod go-w) if"
                    " you know what it holds",
                    file=str(queue),
                )
    _check_journal(real.parent, f"{real.name}-journal")


def check_inside(folder: Path, name: str) -> None:
    """QueueError where the queue that an output folder holds, or a journal of it, is a link or leads out of it."""
    for side in SIDES:
        try:
            stat_of(folder, name + side)
        except FileNotFoundError:
            continue
        except (OSError, OutsideError) as error:
            text = getattr(error, "text", "") or str(error)
            raise QueueError(text, file=str(folder / (name + side))) from None
    _check_journal(folder, f"{name}-journal")


def check_job(plan: QueuedPlan, out: str) -> None:
    """OutsideError for a job of a queue that is of another folder than its row says, or whose own name leads out of it."""
    file_name(plan.job)
    if plan.out != out:
        raise OutsideError(f"the queue has this clip for {plan.out!r} and for {out!r}")


def _check_journal(folder: Path, name: str) -> None:
    """A journal of ours is of one file alone; one that names another would have SQLite remove that."""
    with suppress(FileNotFoundError), open_file(folder, name) as stream:
        stream.seek(max(0, os.fstat(stream.fileno()).st_size - len(_SUPER)))
        if stream.read() == _SUPER:
            raise QueueError("is no journal of this queue: it names other files", file=str(folder / name))


def _others(info: os.stat_result) -> str:
    """The access that others have to a file or folder, in words; empty where none."""
    if info.st_uid not in (0, os.geteuid()):
        with suppress(KeyError):
            return f"belongs to {pwd.getpwuid(info.st_uid).pw_name}"
        return f"belongs to user {info.st_uid}"
    if info.st_mode & stat.S_IWOTH:
        return "may be written by everybody"
    if info.st_mode & stat.S_IWGRP and not _private(info.st_gid):
        with suppress(KeyError):
            return f"may be written by the group {grp.getgrgid(info.st_gid).gr_name}"
        return f"may be written by group {info.st_gid}"
    return ""


def _private(gid: int) -> bool:
    """True if a group is this user's own, with nobody else in it."""
    try:
        me, group = pwd.getpwuid(os.geteuid()), grp.getgrgid(gid)
    except KeyError:
        return False
    return gid == me.pw_gid and group.gr_name == me.pw_name and set(group.gr_mem) <= {me.pw_name}
