"""A process that is a command's own: nobody shares it, as a program shares its own with what it calls of the API."""

from __future__ import annotations

import shutil
import sys

__all__ = ["is_own", "own_process", "put_away"]

_own = False


def own_process() -> None:
    """Say that this process is a command's."""
    global _own
    _own = True


def is_own() -> bool:
    """True if this process is a command's."""
    return _own


def put_away() -> None:
    """Remove what multiprocessing has in the folder of temporary files, ahead of an end that does not (`os._exit`)."""
    if "multiprocessing.util" in sys.modules:
        from multiprocessing.util import get_temp_dir

        shutil.rmtree(get_temp_dir(), ignore_errors=True)
