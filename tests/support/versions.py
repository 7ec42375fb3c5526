"""What released versions left on a cart, unpacked where it was made: `tests/fixtures/versions/make.py` says how."""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import tarfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["HERE", "VERSIONS", "unpacked"]

HERE = Path("/tmp/rushlight-fixture")
ARCHIVES = Path(__file__).resolve().parent.parent / "fixtures/versions"
VERSIONS = sorted(path.name.removesuffix(".tar.xz") for path in ARCHIVES.glob("*.tar.xz"))


@contextmanager
def unpacked(version: str) -> Iterator[Path]:
    """The folder of a version; one at a time on a machine, since records hold its absolute path."""
    with Path(f"{HERE}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        shutil.rmtree(HERE, ignore_errors=True)
        HERE.mkdir(0o700)
        try:
            with tarfile.open(ARCHIVES / f"{version}.tar.xz") as archive:
                archive.extractall(HERE, filter="data")
            for name, time in json.loads((HERE / "times.json").read_text()).items():
                os.utime(HERE / name, ns=(time, time))
            yield HERE
        finally:
            shutil.rmtree(HERE, ignore_errors=True)
