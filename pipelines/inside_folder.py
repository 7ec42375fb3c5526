"""Names inside a folder of ours: what a record states is looked up in its folder, and never leads out of it.

Records, kept requests, chains of manifests and queues are text that anybody may have written. A name in one of them is
relative, with `/` between its parts and without `..`, and no part of it may be a symbolic link: only the folder itself may
be one, since the user gave it. This is checked at the moment of use: each part is opened from the folder above it without
following links, and the file is read, written, linked, moved or unlinked from there, so that nobody can put a link in its
place in between. Libraries that open by path get one from `path_of` or `fresh`, checked right before.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from rushlight.pipelines.errors import OutsideError

__all__ = [
    "OURS",
    "Inside",
    "append",
    "drop_empty",
    "file_name",
    "fresh",
    "holding",
    "is_file",
    "link",
    "make_folder",
    "move",
    "open_file",
    "output_name",
    "parts_of",
    "path_of",
    "read_bytes",
    "refuse_links",
    "remove_tree",
    "same_time",
    "stat_of",
    "unlink",
    "unlink_as",
    "write",
    "write_unless_same",
]

OURS = (
    ".work",
    "ascmhl",
    "log",
    "report",
    "revisions",
)  # the folders of an output folder that are no output's
# What file systems keep of a file's time, in ns: SMB shares and NTFS (MS-DTYP 2.3.3 FILETIME), those of microseconds, exFAT
# (specification 7.4.5), HFS+ and older ext (whole seconds; from memory), FAT.
_KEPT = (100, 1_000, 10_000_000, 1_000_000_000, 2_000_000_000)
_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC


@dataclass(frozen=True)
class Inside:
    """A file by its folder and its name there; read where it lies at that moment."""

    root: Path
    name: str

    def read_bytes(self) -> bytes:
        return read_bytes(self.root, self.name)


# --- names


def parts_of(name: object) -> tuple[str, ...]:
    """The parts of a relative name. OutsideError for anything else: absolute, empty, with `.` or `..`, a backslash, a NUL."""
    if not isinstance(name, str):
        raise OutsideError(f"{name!r} is no name of a file; a name is text, such as 'editorial/A001C001.mov'")
    parts = tuple(name.split("/"))
    try:
        os.fsencode(name)
        sound = not any(c in name for c in "\0\\") and not {"", ".", ".."} & set(parts)
    except UnicodeEncodeError:
        sound = False
    if not sound:
        raise OutsideError(
            f"{name!r} is no name inside its folder; one is relative, such as 'editorial/A001C001.mov', without '..'"
        )
    return parts


def file_name(name: object) -> str:
    """The same of a name of one part."""
    parts = parts_of(name)
    if len(parts) > 1:
        raise OutsideError(f"{name!r} is a path where the name of one file or folder is needed")
    return parts[0]


def output_name(name: object) -> str:
    """The same of a delivered file's name, which lies in the folder of an output and not in one of `OURS`."""
    parts = parts_of(name)
    if len(parts) < 2 or parts[0].casefold() in OURS:
        raise OutsideError(f"{name!r} is no name of a delivered file; one lies in the folder of its output")
    return "/".join(parts)


# --- folders


@contextmanager
def holding(root: Path, name: str, *, make: bool = False) -> Iterator[tuple[int, str]]:
    """The open folder that holds `name`, and the last part of the name. With `make` folders that are not there are made.

    OutsideError where a part is a link, OSError where one is not there or is no folder.
    """
    *above, last = parts_of(name)
    handle = os.open(root, _FOLDER)  # the user's own: it may be a link
    try:
        for count, part in enumerate(above, 1):
            below = _opened(handle, part, root.joinpath(*above[:count]), make)
            os.close(handle)
            handle = below
        yield handle, last
    finally:
        os.close(handle)


def _opened(handle: int, part: str, place: Path, make: bool) -> int:
    if make:
        with suppress(FileExistsError):
            os.mkdir(part, dir_fd=handle)
    try:
        return os.open(part, _FOLDER | os.O_NOFOLLOW, dir_fd=handle)
    except OSError as error:
        if error.errno in (errno.ELOOP, errno.ENOTDIR):
            _refuse_link(handle, part, place)
        raise


def _refuse_link(handle: int, part: str, place: Path) -> None:
    with suppress(OSError):
        target = os.readlink(part, dir_fd=handle)
        raise OutsideError(
            f"is a symbolic link to {target}; inside an output folder nothing is read or written through a link. "
            "Put the folder or file itself in its place, or give its real folder as the output folder",
            file=str(place),
        )


def make_folder(root: Path, name: str) -> Path:
    """Make a folder and those above it; gives its path."""
    with holding(root, f"{name}/-", make=True):
        return root.joinpath(*parts_of(name))


def remove_tree(root: Path, name: str) -> None:
    """Remove a folder with everything in it, as far as that goes. Links in it are removed, not followed; it stays where another
    disk is mounted in it."""
    with suppress(OSError, OutsideError), holding(root, name) as (handle, last):
        here = os.fstat(handle).st_dev
        if all(os.fstat(place).st_dev == here for *_, place in os.fwalk(last, dir_fd=handle)):
            shutil.rmtree(last, ignore_errors=True, dir_fd=handle)


def drop_empty(root: Path, name: str, *, keep: int) -> None:
    """Remove the folders above a name that are empty now, but for the first `keep` of them."""
    *above, _ = parts_of(name)
    with suppress(OSError, OutsideError):
        while len(above) > keep:
            with holding(root, "/".join(above)) as (handle, folder):
                os.rmdir(folder, dir_fd=handle)
            above.pop()


def refuse_links(root: Path, outputs: Iterable[str] = ()) -> None:
    """OutsideError naming the first of an output folder's own folders, or of its outputs', that is a link."""
    for name in (*OURS, "log/frames", "log/inputs/looks", "log/manifests", "report/pictures", *outputs):
        with suppress(FileNotFoundError, NotADirectoryError), holding(root, f"{name}/-"):
            pass


# --- files


def stat_of(root: Path, name: str) -> os.stat_result:
    """Status of a plain file. OutsideError for a link, OSError where it is not there or is something else."""
    with holding(root, name) as (handle, last):
        return _stat(handle, last, root, name)


def _stat(handle: int, last: str, root: Path, name: str) -> os.stat_result:
    info = os.stat(last, dir_fd=handle, follow_symlinks=False)
    if stat.S_ISLNK(info.st_mode):
        _refuse_link(handle, last, root.joinpath(*parts_of(name)))
    if not stat.S_ISREG(info.st_mode):
        raise OSError(errno.EINVAL, "is no plain file")
    return info


def is_file(root: Path, name: str) -> bool:
    """True if a plain file of that name is there; a link is none."""
    try:
        stat_of(root, name)
    except (OSError, OutsideError):
        return False
    return True


def path_of(root: Path, name: str) -> Path:
    """The path of a plain file for a library that opens by path. Use it at once: this is how things stand now.

    OutsideError and OSError as `stat_of`.
    """
    stat_of(root, name)
    return root.joinpath(*parts_of(name))


def open_file(root: Path, name: str) -> BinaryIO:
    """A plain file, open to be read. OutsideError and OSError as `stat_of`."""
    with holding(root, name) as (handle, last):
        _stat(handle, last, root, name)  # a pipe is not opened: nobody may be at its other end
        try:
            opened = os.open(last, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC, dir_fd=handle)
        except OSError as error:
            if error.errno == errno.ELOOP:
                _refuse_link(handle, last, root.joinpath(*parts_of(name)))
            raise
    stream = os.fdopen(opened, "rb")
    if not stat.S_ISREG(os.fstat(opened).st_mode):  # put in its place meanwhile
        stream.close()
        raise OSError(errno.EINVAL, "is no plain file")
    return stream


def read_bytes(root: Path, name: str) -> bytes:
    """All of a plain file. OutsideError and OSError as `stat_of`."""
    with open_file(root, name) as stream:
        return stream.read()


def fresh(root: Path, name: str) -> Path:
    """The path of a new, empty file for a library to write; its folder is made, and whatever had that name is gone."""
    with holding(root, name, make=True) as (handle, last):
        os.close(_new(handle, last))
    return root.joinpath(*parts_of(name))


def _new(handle: int, last: str) -> int:
    with suppress(FileNotFoundError):
        os.unlink(last, dir_fd=handle)
    return os.open(
        last, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o666, dir_fd=handle
    )


def write(root: Path, name: str, data: bytes, *, sync: bool = False) -> None:
    """Write a file that has its name only once it is whole; with `sync` it is on the disk before this returns."""
    with holding(root, name, make=True) as (handle, last):
        temporary = f".{last}.{os.getpid()}-{os.urandom(4).hex()}.part"
        try:
            with os.fdopen(_new(handle, temporary), "wb") as stream:
                stream.write(data)
                if sync:
                    stream.flush()
                    os.fsync(stream.fileno())
            os.replace(temporary, last, src_dir_fd=handle, dst_dir_fd=handle)
        except BaseException:
            with suppress(OSError):
                os.unlink(temporary, dir_fd=handle)
            raise


def write_unless_same(root: Path, name: str, data: bytes, *, sync: bool = False) -> None:
    """`write` a file, unless it is there with these very bytes."""
    with suppress(OSError, OutsideError):
        if read_bytes(root, name) == data:
            return
    write(root, name, data, sync=sync)


def append(root: Path, name: str) -> BinaryIO:
    """A file to be read and added to, made if need be. OutsideError and OSError as `stat_of`."""
    flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
    with holding(root, name, make=True) as (handle, last):
        with suppress(FileNotFoundError):
            _stat(handle, last, root, name)
        opened = os.open(last, flags, 0o666, dir_fd=handle)
    return os.fdopen(opened, "ab+")


def unlink(root: Path, name: str) -> None:
    """Take a name of our own away, if it is there; of a link the link itself."""
    with suppress(FileNotFoundError), holding(root, name) as (handle, last):
        os.unlink(last, dir_fd=handle)


def same_time(first: int, second: int) -> bool:
    """True if two times (ns) can be one file's: equal, or one is the other cut to what some file system
    keeps.

    A share's client may hold all digits until it asks the server again, and a copy on another disk has fewer."""
    older, newer = sorted((first, second))
    return first == second or any(older == newer // kept * kept for kept in _KEPT)


def unlink_as(root: Path, name: str, *, size: int, mtime_ns: int) -> bool:
    """Take a file away that is of that size and time, as its record has it; any other is left. Gives whether it went."""
    with holding(root, name) as (handle, last):
        info = _stat(handle, last, root, name)
        if info.st_size != size or not same_time(info.st_mtime_ns, mtime_ns):
            return False
        os.unlink(last, dir_fd=handle)
        return True


def link(root: Path, name: str, new: str) -> None:
    """A second name for a plain file; where the file system has none it moves. The folders of the new name are made."""
    with holding(root, name) as (here, last), holding(root, new, make=True) as (there, final):
        _stat(here, last, root, name)
        try:
            os.link(last, final, src_dir_fd=here, dst_dir_fd=there, follow_symlinks=False)
        except FileExistsError:
            raise
        except OSError:  # a file system without links: it leaves its name a little early
            os.rename(last, final, src_dir_fd=here, dst_dir_fd=there)


def move(root: Path, name: str, new: str, *, sync: bool = False) -> None:
    """Another name for a plain file or a folder, in place of what had it; with `sync` durably. The new folders are made."""
    with holding(root, name) as (here, last), holding(root, new, make=True) as (there, final):
        info = os.stat(last, dir_fd=here, follow_symlinks=False)
        if not stat.S_ISDIR(info.st_mode):
            _stat(here, last, root, name)
        if sync:
            opened = os.open(last, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC, dir_fd=here)
            try:
                os.fsync(opened)
            finally:
                os.close(opened)
        os.replace(last, final, src_dir_fd=here, dst_dir_fd=there)
        if sync:
            os.fsync(there)
