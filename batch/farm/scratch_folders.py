"""Working folders of one run each: private, in the user's state folder; what a killed run left goes with the next one.

Whoever has a folder holds a lock on it that goes with his process, so that only the folders of the dead are removed.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from rushlight.batch.disks import state_folder
from rushlight.pipelines.errors import OptionError, ResourceError, from_os

__all__ = ["scratch_folder"]

OURS = "run-"


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """A new folder that no other user may enter (mode 0700), removed at the end with all that it holds.

    OptionError where the state folder cannot be used, or is another user's; ResourceError where its disk is full.
    """
    root = state_folder() / "scratch"
    try:
        folder, lock = _new(root)
    except OSError as error:
        short = from_os(error, root)
        if isinstance(short, ResourceError):
            raise short from None
        raise OptionError(
            f"cannot be used for work in progress: {error.strerror}; $XDG_STATE_HOME may name a folder of yours",
            file=str(root),
        ) from None
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        os.close(lock)


def _new(root: Path) -> tuple[Path, int]:
    root.mkdir(mode=0o700, parents=True, exist_ok=True)
    place = _opened(root)
    try:
        if os.fstat(place).st_uid != os.geteuid():
            raise PermissionError(None, "it belongs to another user")
        os.fchmod(place, 0o700)
        _locked(place, fcntl.LOCK_EX)  # nobody sweeps between the making of a folder and its lock
        _sweep(place)
        folder = Path(tempfile.mkdtemp(prefix=OURS, dir=root))
        lock = _opened(folder)
        _locked(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return folder, lock
    finally:
        os.close(place)


def _opened(folder: Path | str, within: int | None = None) -> int:
    """A handle on a folder; OSError where it is none, or is a link."""
    return os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW, dir_fd=within)


def _locked(folder: int, how: int) -> bool:
    """Take a lock; true if it was taken: not where another has it, nor on a disk that has no locks."""
    with suppress(OSError):
        fcntl.flock(folder, how)
        return True
    return False


def _sweep(place: int) -> None:
    """Remove the folders of runs that are no more. Nothing else is touched, and no link is followed."""
    for name in os.listdir(place):
        if not name.startswith(OURS):
            continue
        try:
            folder = _opened(name, place)
        except OSError:
            continue
        try:
            dead = os.fstat(folder).st_uid == os.geteuid() and _locked(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if dead:
                shutil.rmtree(name, ignore_errors=True, dir_fd=place)
        finally:
            os.close(folder)
