"""Hashes of originals: each file is read once, whatever kinds are wanted of it, and few at a time.

Files of fast kinds are read one after the other, as a disk likes it; those of md5, sha1 and c4, which one core cannot take
as fast as a disk gives, up to four at a time. Nothing is held in memory but a block of each.
"""

from __future__ import annotations

import os
import stat
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

from rushlight.batch.interrupts import heard
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.manifests.hash_kinds import KINDS
from rushlight.pipelines.manifests.verdicts import FileVerdict, ToHash, by_hash, unread

__all__ = ["MOST_AT_ONCE", "hashes_of", "verdicts_of"]

MOST_AT_ONCE = 4
BLOCK = 1 << 20
CHANGED = "changed while it was checked; check again once nobody writes to it"


class _Unsound(Exception):
    """A file that does not read as it should; the text says how."""


def verdicts_of(
    root: Path, files: Sequence[ToHash], *, on_bytes: Callable[[str, int], None] = lambda path, size: None
) -> Iterator[FileVerdict]:
    """Verdicts on files below `root` by their hashes, in no certain order. `on_bytes` is told now and then, in the caller's
    thread, which file is read and how many bytes of all have been."""
    fast = [f for f in files if not any(KINDS[kind].slow for kind in f.kinds)]
    slow = [f for f in files if any(KINDS[kind].slow for kind in f.kinds)]
    reading = _Reading(root, on_bytes)
    try:
        yield from reading.all_of(fast, 1)
        yield from reading.all_of(slow, min(MOST_AT_ONCE, os.cpu_count() or 1))
    finally:
        reading.stop.set()


class _Reading:
    """Files read by threads; the caller's looks after signals and tells how far it is."""

    def __init__(self, root: Path, on_bytes: Callable[[str, int], None]) -> None:
        self.root, self.on_bytes = root, on_bytes
        self.stop = threading.Event()
        self._lock = threading.Lock()
        self._bytes = 0

    def all_of(self, files: Sequence[ToHash], at_once: int) -> Iterator[FileVerdict]:
        pool = ThreadPoolExecutor(at_once, "hash")
        waiting: deque[tuple[ToHash, Future[FileVerdict]]] = deque()
        todo = iter(files)
        try:
            while True:
                for file in todo:
                    waiting.append((file, pool.submit(self._verdict, file)))
                    if len(waiting) > 2 * at_once:
                        break
                if not waiting:
                    return
                file, future = waiting.popleft()
                while not future.done():
                    self._tell(file)
                    with suppress(TimeoutError):
                        future.exception(timeout=0.2)
                self._tell(file)
                yield future.result()
        except BaseException:  # who reads the verdicts leaves: no block more is read
            self.stop.set()
            raise
        finally:
            pool.shutdown(wait=not heard(), cancel_futures=True)

    def _tell(self, file: ToHash) -> None:
        beat()
        self.on_bytes(file.path, self._bytes)

    def _verdict(self, file: ToHash) -> FileVerdict:
        try:
            return by_hash(file, hashes_of(self.root / file.path, file.kinds, file.size, self._count))
        except _Unsound as error:
            return unread(file, str(error))

    def _count(self, size: int) -> None:
        with self._lock:
            self._bytes += size
        if self.stop.is_set():
            raise _Unsound("was not read to its end: the check was stopped")


def hashes_of(
    path: Path, kinds: Sequence[str], size: int, on_block: Callable[[int], None] = lambda size: None
) -> dict[str, str]:
    """Hashes of a file by kind, as a manifest writes them, in one reading. Raises in words for what cannot be read to its end
    and for a file that is not as long as `size` or changes meanwhile."""
    hashers = {kind: KINDS[kind].new() for kind in kinds}
    block = memoryview(bytearray(BLOCK))
    try:
        flags = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
        with open(os.open(path, flags), "rb", buffering=0) as stream:
            before = os.fstat(stream.fileno())
            if not stat.S_ISREG(before.st_mode):
                raise _Unsound("is no plain file")
            with suppress(OSError, AttributeError):
                os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_SEQUENTIAL)
            done = 0
            while count := stream.readinto(block):
                for hasher in hashers.values():
                    hasher.update(block[:count])
                done += count
                on_block(count)
                if done > size:  # it grows: there may be no end of it
                    raise _Unsound(CHANGED)
            after = os.fstat(stream.fileno())
    except OSError as error:
        raise _Unsound(error.strerror or str(error)) from None
    if done != size or (before.st_mtime_ns, before.st_size) != (after.st_mtime_ns, after.st_size):
        raise _Unsound(CHANGED)
    return {kind: KINDS[kind].text(hasher.digest()) for kind, hasher in hashers.items()}
