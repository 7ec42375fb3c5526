"""A file brought into a delivery: linked where that is possible, else copied; either way what is there then is read and hashed.

A hard link is a second name for the same bytes: it takes no room, and is no second copy. A copy is read while it is written and
read again from the disk.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, Literal

import xxhash

from rushlight.pipelines.errors import DeliveryError, OutsideError, from_os
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.inside_folder import fresh, holding, open_file, stat_of, unlink

__all__ = ["Damaged", "bring", "hash_of"]

BLOCK = 4 << 20
# What a link ends with where there can be none: another disk, none on this file system, too many of one file, not allowed here.
NO_LINK = {
    errno.EXDEV,
    errno.EPERM,
    errno.EMLINK,
    errno.ENOTSUP,
    errno.EOPNOTSUPP,
    errno.EACCES,
    errno.ENOSYS,
}
Told = Callable[[int], object]  # bytes read by now


class Damaged(Exception):
    """A file is not as its record has it, and was not brought: why, in words."""


def bring(
    source: Path, name: str, target: Path, *, digest: str, link: bool, on_bytes: Told = lambda done: None
) -> Literal["linked", "copied"]:
    """Bring the file `name` of the folder `source` into `target` under that name. `digest`: its hash, `xxh3_128:HEX`.

    A copy that a killed process left in `target`, whole by its hash, is taken. Damaged where it is not there, cannot be read or has
    another hash: nothing of it stays in `target`. ResourceError or DeliveryError
    where `target` cannot take it, or does not give back what was written.
    """
    try:
        return _brought(source, name, target, digest, link, on_bytes)
    except Damaged:
        with suppress(OSError, OutsideError):
            unlink(target, name)
        raise


def _brought(
    source: Path, name: str, target: Path, digest: str, link: bool, on_bytes: Told
) -> Literal["linked", "copied"]:
    info = _status(source, name)
    if not link and _left(info, name, target, digest, on_bytes):
        return "copied"
    how: Literal["linked", "copied"] = "linked" if link and _linked(source, name, target) else "copied"
    if how == "linked":
        found = _read(target, name, on_bytes)
    else:
        found = _copied(source, name, target, on_bytes)
        if found == digest and hash_of(target, name) != digest:
            text = "does not read as it was written: the disk, its cable or the memory of this machine is not to be trusted"
            raise DeliveryError(text, file=str(target / name))
    if found != digest:
        raise Damaged(f"is not as it was made: its hash is another ({info.st_size} bytes)")
    return how


def _status(source: Path, name: str) -> os.stat_result:
    try:
        return stat_of(source, name)
    except FileNotFoundError:
        raise Damaged("is not there") from None
    except OSError as error:
        raise Damaged(f"cannot be read: {error.strerror or error}") from None
    except OutsideError as error:
        raise Damaged(error.text) from None


def hash_of(root: Path, name: str, on_bytes: Told = lambda done: None) -> str:
    """`xxh3_128:HEX` of a file of a folder. OSError where it cannot be read."""
    state = xxhash.xxh3_128()
    with open_file(root, name) as stream:
        with suppress(OSError, AttributeError):  # from the disk, as far as the system does that
            os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        while block := stream.read(BLOCK):
            beat()
            state.update(block)
            on_bytes(len(block))
    return f"xxh3_128:{state.hexdigest()}"


def _read(target: Path, name: str, on_bytes: Told) -> str:
    """The hash of a file that was linked."""
    try:
        return hash_of(target, name, on_bytes)
    except OSError as error:
        raise Damaged(f"cannot be read: {error.strerror or error}") from None


def _left(info: os.stat_result, name: str, target: Path, digest: str, on_bytes: Told) -> bool:
    """True if `target` has a whole copy of a file (whose status is `info`) from before; it is on the disk before this returns."""
    try:
        with open_file(target, name) as stream:
            there = os.fstat(stream.fileno())
            if there.st_size != info.st_size or os.path.samestat(there, info):
                return False
            os.fsync(stream.fileno())
            with suppress(OSError):
                os.utime(stream.fileno(), ns=(info.st_mtime_ns, info.st_mtime_ns))
        return hash_of(target, name, on_bytes) == digest
    except (OSError, OutsideError):
        return False


def _linked(source: Path, name: str, target: Path) -> bool:
    """True if the file has a second name in `target` now, False where there can be no link."""
    try:
        with holding(source, name) as (here, last), holding(target, name, make=True) as (there, final):
            os.link(last, final, src_dir_fd=here, dst_dir_fd=there, follow_symlinks=False)
    except OSError as error:
        if error.errno in NO_LINK:
            return False
        raise from_os(error, target / name) from None
    return True


def _copied(source: Path, name: str, target: Path, on_bytes: Told) -> str:
    """Copy a file with its time, on the disk before this returns; gives the hash of what was read."""
    state = xxhash.xxh3_128()
    with _opened(source, name) as stream:
        try:
            with fresh(target, name).open("r+b", buffering=0) as new:
                while block := _block(stream):
                    beat()
                    state.update(block)
                    _write(new, block)
                    on_bytes(len(block))
                os.fsync(new.fileno())
                info = os.fstat(stream.fileno())
                with suppress(OSError):  # some shares keep no times of others
                    os.utime(new.fileno(), ns=(info.st_mtime_ns, info.st_mtime_ns))
        except OSError as error:
            raise from_os(error, target / name) from None
    return f"xxh3_128:{state.hexdigest()}"


def _opened(source: Path, name: str) -> BinaryIO:
    try:
        return open_file(source, name)
    except OSError as error:
        raise Damaged(f"cannot be read: {error.strerror or error}") from None


def _block(stream: BinaryIO) -> bytes:
    try:
        return stream.read(BLOCK)
    except OSError as error:
        raise Damaged(f"cannot be read: {error.strerror or error}") from None


def _write(new: BinaryIO, block: bytes) -> None:
    rest = memoryview(block)
    while rest:
        rest = rest[new.write(rest) :]
