"""The kernel's machine code for a card: made by one process of a machine, and kept for all that come later.

It lies in the user's cache folder ($XDG_CACHE_HOME, else ~/.cache), where it may be deleted at any time. Where that cannot be
written, each worker compiles for itself.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = ["kept"]


def kept(facts: Sequence[object], make: Callable[[], bytes]) -> bytes:
    """What `make` gave for these facts, now or before: text, options, compiler, kind of card."""
    name = hashlib.sha256(repr(tuple(facts)).encode()).hexdigest()
    folder = _folder()
    if found := _read(folder / name):
        return found
    with _alone(folder):
        if found := _read(folder / name):
            return found
        made = make()
        with suppress(OSError):
            part = folder / f".{name}.{os.getpid()}"
            part.write_bytes(hashlib.sha256(made).digest() + made)
            part.replace(folder / name)
        return made


def _folder() -> Path:
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "rushlight" / "card"


def _read(path: Path) -> bytes:
    """What was kept whole; nothing of a file that is damaged, or not there."""
    try:
        found = path.read_bytes()
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
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            lock = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        if lock is not None:
            os.close(lock)
