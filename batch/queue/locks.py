"""One process at a time: a lock on a file that says who holds it. It goes with its process, however that ends."""

from __future__ import annotations

import errno
import fcntl
import os
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from rushlight.pipelines.errors import OutsideError, QueueError, from_os
from rushlight.pipelines.inside_folder import holding, refuse_links, unlink

__all__ = ["Lock", "folder_held", "hold_folder", "hold_queue", "runner_of"]


class Lock:
    """A lock that is held until `release`."""

    def __init__(self, folder: Path, name: str, refused: str, doing: str = "") -> None:
        """Take the one of that name in a folder, which is made; `doing` says to others what for. QueueError `refused` with the holder's process, machine and
        time where another has it, OutsideError where a link stands there."""
        self.folder, self.name, self.place = folder, name, folder / name
        self._handle = self._taken(refused)
        who = f"process {os.getpid()} on {os.uname().nodename}, since {time.strftime('%H:%M')}"
        who += f" ({doing})" if doing else ""
        with suppress(OSError):  # a full disk takes no name, but the lock
            os.ftruncate(self._handle, 0)
            os.pwrite(self._handle, who.encode(), 0)

    def _taken(self, refused: str) -> int:
        while True:
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
                with holding(self.folder, self.name, make=True) as (above, last):
                    flags = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
                    handle = os.open(last, flags, 0o666, dir_fd=above)
            except FileNotFoundError:
                continue  # whoever had it took the folder away
            except OSError as error:
                if error.errno == errno.ELOOP:
                    raise OutsideError(
                        "is a symbolic link, and no lock of ours", file=str(self.place)
                    ) from None
                raise from_os(error, self.place) from None
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                os.close(handle)
                raise OutsideError("is no plain file, and no lock of ours", file=str(self.place))
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as error:
                if error.errno not in (errno.EWOULDBLOCK, errno.EACCES):
                    return handle  # a share without locks: nothing to hold on to
                who = os.read(handle, 200).decode("utf-8", "replace").strip() or "another process"
                os.close(handle)
                raise QueueError(refused.format(who=who), file=str(self.place)) from None
            if self._is_there(handle):
                return handle
            os.close(handle)  # removed by its holder between our opening and locking it

    def _is_there(self, handle: int) -> bool:
        try:
            return os.path.samestat(os.stat(self.place), os.fstat(handle))
        except FileNotFoundError:
            return False

    def release(self) -> None:
        """Let it go."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    def __enter__(self) -> Lock:
        return self

    def __exit__(self, *_: object) -> None:
        self.release()


def hold_queue(queue: Path) -> Lock:
    """The lock of a queue's one runner."""
    try:
        return Lock(
            queue.parent, queue.name + ".runner", "is being run by {who}; a queue takes one runner at a time"
        )
    except QueueError as error:
        raise QueueError(error.text, file=str(queue)) from None


def hold_folder(out: Path, doing: str = "") -> Lock:
    """The lock of the one runner of an output folder, whichever queue its jobs are in. It lies in `.work`. `doing`: what its
    holder does, where that is no render."""
    try:
        refuse_links(out)
    except FileNotFoundError:
        pass  # it is made now
    try:
        return Lock(
            out, ".work/runner", "is being rendered into by {who}; a folder takes one runner at a time", doing
        )
    except QueueError as error:
        raise QueueError(error.text, file=str(out)) from None


@contextmanager
def folder_held(out: Path, doing: str) -> Iterator[None]:
    """Hold an output folder for what is no render; the lock's file goes again where nothing else lies in `.work`. Errors as
    `hold_folder`."""
    fresh = not os.path.lexists(out / ".work")
    with hold_folder(out, doing):
        try:
            yield
        finally:
            if fresh:
                with suppress(OSError, OutsideError):
                    unlink(out, ".work/runner")
                    os.rmdir(out / ".work")


def runner_of(queue: Path) -> str:
    """Who runs a queue now: process, machine and since when; empty where nobody does. Nothing is taken, made or written."""
    try:
        handle = os.open(queue.with_name(f"{queue.name}.runner"), os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return ""
    try:
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in (errno.EWOULDBLOCK, errno.EACCES):
            return os.read(handle, 200).decode("utf-8", "replace").strip() or "another process"
    finally:
        os.close(handle)
    return ""
