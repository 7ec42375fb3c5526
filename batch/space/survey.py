"""All files of a folder with their sizes: links are not followed, and other disks that are mounted in it are left out and said."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rushlight.pipelines.heartbeat import beat

__all__ = ["Found", "Survey", "disk_bytes", "freed_bytes", "survey"]

BLOCK = 512  # bytes of a block of st_blocks (POSIX.1-2017, sys/stat.h leaves it open; so on Linux, macOS)


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """A file: its name from the folder, with `/`; sizes in bytes."""

    name: str
    bytes: int
    disk: int  # what it takes on the disk, under however many names
    mtime_ns: int
    inode: tuple[int, int]  # what tells that two names are one file's
    names: int  # how many it has, anywhere


@dataclass(frozen=True, kw_only=True)
class Survey:
    """The files of a folder in order of their names, and what is none."""

    files: tuple[Found, ...]
    links: int = 0  # and pipes, sockets, devices
    unread: tuple[str, ...] = ()  # a sentence on each folder that cannot be read
    apart: tuple[str, ...] = ()  # and on each other disk that is mounted in it

    @property
    def bytes(self) -> int:
        return sum(file.bytes for file in self.files)


def survey(out: Path) -> Survey:
    """Look through a folder. What goes meanwhile is not counted; a folder that cannot be read costs what is in it alone."""
    top = out.resolve()
    disk = os.stat(top).st_dev
    files: list[Found] = []
    unread: list[str] = []
    apart: list[str] = []
    links, below = 0, [""]
    while below:
        beat()
        folder = below.pop()
        try:
            with os.scandir(top / folder) as entries:
                seen = [(entry.name, entry.stat(follow_symlinks=False)) for entry in _there(entries)]
        except FileNotFoundError:
            continue
        except OSError as error:
            unread.append(f"{out / folder} cannot be read ({error.strerror or error}): not counted")
            continue
        for name, info in seen:
            path = f"{folder}/{name}" if folder else name
            if stat.S_ISDIR(info.st_mode):
                if info.st_dev == disk:
                    below.append(path)
                else:
                    apart.append(f"{out / path} is another disk: not counted")
            elif stat.S_ISREG(info.st_mode):
                files.append(_found(path, info))
            else:
                links += 1
    return Survey(
        files=tuple(sorted(files, key=lambda file: file.name)),
        links=links,
        unread=tuple(sorted(unread)),
        apart=tuple(sorted(apart)),
    )


def _there(entries: Iterable[os.DirEntry[str]]) -> Iterable[os.DirEntry[str]]:
    """Entries that are still there."""
    for entry in entries:
        try:
            entry.stat(follow_symlinks=False)  # kept by the entry
        except FileNotFoundError:
            continue
        yield entry


def _found(name: str, info: os.stat_result) -> Found:
    return Found(
        name=name,
        bytes=info.st_size,
        disk=info.st_blocks * BLOCK,
        mtime_ns=max(0, info.st_mtime_ns),
        inode=(info.st_dev, info.st_ino),
        names=info.st_nlink,
    )


def disk_bytes(files: Iterable[Found], counted: set[tuple[int, int]]) -> int:
    """Bytes that files take on the disk, but for those that are `counted` by now; they are from here on."""
    total = 0
    for file in files:
        if file.inode not in counted:
            counted.add(file.inode)
            total += file.disk
    return total


def freed_bytes(files: Iterable[Found]) -> int:
    """Bytes on the disk that come free where files go: those of which no other name is left."""
    going: dict[tuple[int, int], list[Found]] = {}
    for file in files:
        going.setdefault(file.inode, []).append(file)
    return sum(names[0].disk for names in going.values() if len(names) >= names[0].names)
