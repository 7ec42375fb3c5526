"""Disks: how much room there is, and what kind of file system holds a path."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

__all__ = ["existing", "free_bytes", "network_file_system", "volume_of"]

_NETWORK = (
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "afs",
    "ceph",
    "glusterfs",
    "lustre",
    "9p",
    "beegfs",
    "fuse.sshfs",
)


def existing(path: Path) -> Path:
    """The nearest folder of a path that is there."""
    here = path.absolute()
    while not here.exists():
        here = here.parent
    return here


def free_bytes(path: Path) -> int:
    """Bytes that may still be written where `path` is or will be."""
    return shutil.disk_usage(existing(path)).free


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
    return kind if kind in _NETWORK or kind.startswith("fuse.ssh") else ""


def volume_of(path: Path) -> int:
    """A number that changes when another file system lies under a path: its device."""
    return existing(path).stat().st_dev
