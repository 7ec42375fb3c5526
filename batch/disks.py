"""Disks: how much room there is, and what kind of file system holds a path."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path

from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OptionError

__all__ = [
    "existing",
    "folder_mode",
    "free_bytes",
    "made_with",
    "mount_of",
    "network_file_system",
    "parse_mode",
    "parse_size",
    "size_text",
    "state_folder",
]

_SIZE = re.compile(r"([0-9]{1,12}(?:\.[0-9]{1,12})?) ?([kmgt]i?)?b", re.IGNORECASE | re.ASCII)
_POWER = {"": 0, "k": 1, "m": 2, "g": 3, "t": 4}

# By their kernel names. Of FUSE file systems none is taken for local but those named: what stands behind is not known.
_NETWORK = frozenset(
    [
        "nfs",
        "nfs4",
        "cifs",
        "smb3",
        "smbfs",
        "ncpfs",
        "afs",
        "ceph",
        "glusterfs",
        "lustre",
        "9p",
        "virtiofs",
        "vboxsf",
        "prl_fs",
        "beegfs",
        "gpfs",
        "pvfs2",
        "davfs",
    ]
)
_LOCAL_FUSE = ("fuse.fuse-overlayfs", "fuse.mergerfs")


def state_folder() -> Path:
    """Folder of this user's queues: `rushlight` under $XDG_STATE_HOME, else under ~/.local/state."""
    return Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "rushlight"


def existing(path: Path) -> Path:
    """The nearest folder of a path that is there."""
    here = path.absolute()
    while not here.exists():
        here = here.parent
    return here


def free_bytes(path: Path) -> int:
    """Bytes that may still be written where `path` is or will be."""
    return shutil.disk_usage(existing(path)).free


def parse_size(text: str) -> int:
    """Bytes of a size with its unit: 500MB, 1.5 GB (powers of 1000), 20GiB (powers of 1024); `0` needs none.

    A bare number is refused, since 20 may be meant as bytes, megabytes or gigabytes. Fractions of a byte round
    down. OptionError naming what would do.
    """
    plain = text.strip()
    if plain == "0":
        return 0
    found = _SIZE.fullmatch(plain)
    if not found:
        raise OptionError(f"{text!r} is no size; a number with its unit is needed, such as 500MB or 20GB")
    unit = (found[2] or "").lower()
    return int(Decimal(found[1]) * (1024 if unit.endswith("i") else 1000) ** _POWER[unit[:1]])


def parse_mode(text: str) -> int:
    """Permissions of files in octal, such as 664. OptionError for what is none, or would keep the owner out.

    Only reading and writing: what is delivered is not to be executed; folders may be entered by whoever may read.
    """
    try:
        mode = int(text, 8)
    except ValueError:
        mode = -1
    if not 0 <= mode <= 0o777 or mode & 0o111 or mode & 0o600 != 0o600:
        raise OptionError(
            f"--mode {text!r}: takes reading and writing in octal, the owner's both among them, such as 664"
        )
    return mode


def folder_mode(mode: int) -> int:
    """The permissions of folders to files': who may read may also enter."""
    return mode | (mode & 0o444) >> 2


@contextmanager
def made_with(mode: int | None) -> Iterator[None]:
    """Files made inside, also by processes started inside, have these permissions; without, those of the umask."""
    if mode is None:
        yield
        return
    before = os.umask(0o777 & ~folder_mode(mode))
    try:
        yield
    finally:
        os.umask(before)


def size_text(size: int) -> str:
    """`20.0 GB`, `500 MB`, `35 kB`, `7 bytes`."""
    if 0 < size < 1e6:
        return f"{size / 1e3:.0f} kB" if size >= 1e3 else counted(size, "byte")
    return f"{size / 1e9:.1f} GB" if size >= 1e9 else f"{size / 1e6:.0f} MB"


def network_file_system(path: Path) -> str:
    """The kind of network file system a path lies on; empty on a local disk or where that cannot be told."""
    here = os.path.realpath(existing(path))
    try:
        lines = Path("/proc/self/mountinfo").read_text().splitlines()
    except OSError:
        return ""
    best, kind = "", ""
    for line in lines:
        left, _, right = line.partition(" - ")
        point = left.split()[4].encode().decode("unicode_escape")
        inside = here == point or here.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(best):
            best, kind = point, right.split()[0]
    foreign = kind.startswith("fuse.") and kind not in _LOCAL_FUSE
    return kind if kind in _NETWORK or foreign else ""


def mount_of(path: Path) -> str:
    """The folder at which the disk that holds a path is mounted: it changes when that disk goes."""
    here = Path(os.path.realpath(existing(path)))
    while not os.path.ismount(here):
        here = here.parent
    return str(here)
