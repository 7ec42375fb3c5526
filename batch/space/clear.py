"""What may go, cleared: each thing is written into the folder's log first, and then taken away as it was seen, or left.

Killed between any two steps, the log says of something that is still there that it was to go: it is there, nobody says otherwise, and
the same command again takes it away.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from importlib.metadata import version
from pathlib import Path

from rushlight.batch.cleared_log import add_cleared
from rushlight.batch.job_log import clock_text
from rushlight.batch.queue.locks import folder_held
from rushlight.batch.records.space import CLEARED, Cleared, MayGo, SpacePolicy
from rushlight.batch.space.survey import Found, survey
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OutsideError, ResourceError, RushlightError, no_room
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.inside_folder import drop_empty, holding, parts_of, stat_of, unlink_as

__all__ = ["cleared_of", "held"]


@contextmanager
def held(out: Path) -> Iterator[None]:
    """Hold an output folder as its one runner does, so that no night runs meanwhile. QueueError where a night runs, ResourceError or DeliveryError where the disk is full or read-only."""
    with ExitStack() as stack:
        try:
            stack.enter_context(folder_held(out, "clearing it"))
        except ResourceError as error:
            raise _not_written(error, 0) from None
        yield


def cleared_of(out: Path, going: Iterable[MayGo], policy: SpacePolicy) -> tuple[list[MayGo], list[str]]:
    """Clear what may go of a folder that is held; gives what went, and a sentence for each thing that did not. ResourceError where there
    is no room to write it down."""
    gone: list[MayGo] = []
    left: list[str] = []
    for each in going:
        beat()
        if not _is_as_seen(out, each):
            left.append(f"{out / each.path} is not as it was a moment ago; it stays")
            continue
        try:
            add_cleared(out, _line(each, policy))
        except RushlightError as error:
            raise _not_written(error, len(gone)) from None
        if _removed(out, each):
            gone.append(each)
        else:
            left.append(f"{out / each.path} could not be taken away; it stays")
    return gone, left


def _is_as_seen(out: Path, each: MayGo) -> bool:
    """True if a file is the one that was chosen; of a working folder, if it has the same files."""
    try:
        if each.kind == "work":
            found = _work(out, each)
            size, newest = sum(file.bytes for file in found), max(file.mtime_ns for file in found)
            return (len(found), size, newest) == (each.files, each.bytes, each.mtime_ns)
        info = stat_of(out, each.path)
        return (info.st_size, max(0, info.st_mtime_ns)) == (each.bytes, each.mtime_ns)
    except (OSError, OutsideError, ValueError):  # ValueError: nothing is in it any more
        return False


def _work(out: Path, each: MayGo) -> tuple[Found, ...]:
    """The files of a working folder; not those of another disk that is mounted in it. OutsideError where it is a link."""
    with holding(out, f"{each.path}/-"):
        return survey(out / each.path).files


def _removed(out: Path, each: MayGo) -> bool:
    try:
        if each.kind == "work":
            return _work_removed(out, each)
        if not unlink_as(out, each.path, size=each.bytes, mtime_ns=each.mtime_ns):
            return False
    except (OSError, OutsideError):
        return False
    drop_empty(out, each.path, keep=0)
    return True


def _work_removed(out: Path, each: MayGo) -> bool:
    """Take the files of a working folder away one by one: what is no file of this disk is not ours, and stays with its folder."""
    gone = True
    for file in _work(out, each):
        name = f"{each.path}/{file.name}"
        try:
            gone &= unlink_as(out, name, size=file.bytes, mtime_ns=file.mtime_ns)
        except (OSError, OutsideError):
            gone = False
        drop_empty(out, name, keep=len(parts_of(each.path)) - 1)
    return gone


def _line(each: MayGo, policy: SpacePolicy) -> Cleared:
    return Cleared(
        schema=CLEARED,
        kind=each.kind,
        path=each.path,
        files=each.files,
        bytes=each.bytes,
        hash=each.hash,
        job=each.job,
        clip=each.clip,
        output=each.output,
        revision=each.revision,
        replaced=each.replaced,
        rule=policy.rule,
        cleared=clock_text(time.time()),
        made_by=version("rushlight"),
    )


def _not_written(error: RushlightError, gone: int) -> RushlightError:
    """The error of a line that could not be written: nothing goes that is not written down."""
    done = f"{counted(gone, 'thing')} went before" if gone else "nothing was cleared"
    if no_room(error):
        done += ": what goes is written down first. Free a megabyte on that disk by hand and give the command again"
    return type(error)(f"{error.text}; {done}", file=error.file)
