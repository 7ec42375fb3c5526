"""The kernel's machine code for a card: made by one process of a machine, and kept for all that come later.

It lies in the user's cache folder ($XDG_CACHE_HOME, else ~/.cache), where it may be deleted at any time. Where that cannot be
written, or somebody else could have put code there, each worker compiles for itself.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import stat
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = ["kept"]


def kept(facts: Sequence[object], make: Callable[[], bytes]) -> bytes:
    """What `make` gave for these facts, now or before: text, options, compiler, kind of card."""
    name = hashlib.sha256(repr(tuple(facts)).encode()).hexdigest()
    folder = _folder()
    if folder is None:
        return make()
    if found := _read(folder / name):
        return found
    with _alone(folder):
        if found := _read(folder / name):
            return found
        made = make()
        with suppress(OSError):
            _write(folder, name, hashlib.sha256(made).digest() + made)
        return made


def _folder() -> Path | None:
    """The folder, made if need be; None where it cannot be made, or is somebody else's."""
    with suppress(OSError, RuntimeError):  # RuntimeError: a user without a home
        asked = Path(os.environ.get("XDG_CACHE_HOME", ""))
        # A relative one is ignored (XDG Base Directory 0.8, "Basics"): it would be whatever folder somebody works in.
        above = asked if asked.is_absolute() else Path.home().absolute() / ".cache"
        folder = above / "rushlight" / "card"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return folder if _is_ours(folder.lstat()) else None
    return None


def _is_ours(info: os.stat_result) -> bool:
    """True if this user alone can have written there: code is run without another look."""
    return info.st_uid == os.geteuid() and not info.st_mode & 0o022 and not stat.S_ISLNK(info.st_mode)


def _write(folder: Path, name: str, data: bytes) -> None:
    """A file that has its name once it is whole; of one that does not become so nothing is left."""
    part = folder / f".{name}.{os.getpid()}"
    try:
        with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600), "wb") as stream:
            stream.write(data)
        part.replace(folder / name)
    except OSError:
        part.unlink(missing_ok=True)
        raise


def _read(path: Path) -> bytes:
    """What was kept whole; nothing of a file that is damaged, of another user or not there."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        with open(handle, "rb") as stream:
            found = stream.read() if _is_ours(os.fstat(handle)) else b""
    except OSError:
        return b""
    digest, code = found[:32], found[32:]
    return code if hashlib.sha256(code).digest() == digest else b""


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """While no other process is in here; where the folder cannot be written, nobody waits."""
    lock = None
    try:
        with suppress(OSError):
            lock = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        if lock is not None:
            os.close(lock)
