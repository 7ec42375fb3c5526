"""Processes that a farm starts on this machine: what they inherit, and the one that they are forks of.

Of a command's workers, what they need is loaded once: by a fork server (multiprocessing's), while the list is planned. It is one
a process, so that in a program that calls the API it would be that program's: there, and elsewhere than on Linux, each worker
starts and loads for itself.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator, Sequence

from rushlight.batch.interrupts import deaf
from rushlight.batch.own_process import is_own

__all__ = [
    "ENVIRONMENT",
    "NO_PAGES",
    "environment_of_others",
    "for_children",
    "fork_ahead",
    "forking",
    "name_modules",
    "without_main",
]

# One thread a library and worker: N workers use N cores. And what keeps a worker small.
ENVIRONMENT = {
    # Python begins them by `-c`, and would look for modules in the folder somebody works in first: his av.py would be run.
    "PYTHONSAFEPATH": "1",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "NUMBA_NUM_THREADS": "1",
    "OPENIMAGEIO_THREADS": "1",
    # Frames of 3840x2160 go back to the system when they are let go (glibc; others do not look): 30 MB a worker. Their packets,
    # of 4 MB and as many as frames, do not: each would be new pages.
    "MALLOC_ARENA_MAX": "1",
    "MALLOC_MMAP_THRESHOLD_": "8388608",
    # What is smaller is taken again a moment later: given back each time, a still costs half as much again in page faults.
    "MALLOC_TRIM_THRESHOLD_": "16777216",
}
NO_PAGES = "rushlight.batch.farm.no_status_pages"
CALLS = "rushlight.batch.farm.worker_process"
# Before 3.11.1 whoever is logged in could have a fork server run his code (CVE-2022-42919).
POSSIBLE = sys.platform == "linux" and sys.version_info >= (3, 11, 1)

_BEFORE = {name: os.environ.get(name) for name in ENVIRONMENT}
_loaded: list[str] = []  # what the fork server loads; empty while there is none


def fork_ahead(modules: Sequence[str]) -> None:
    """Start the process that workers will be forks of, which loads these modules; nothing where that is not ours to do."""
    if not (is_own() and POSSIBLE):
        return
    from multiprocessing import forkserver

    first, last = "rushlight.batch.farm.without_algebra", "rushlight.batch.farm.forked"
    _loaded[:] = [first, "distributed", NO_PAGES, CALLS, *modules, last]
    forkserver.set_forkserver_preload(_loaded)
    try:
        with for_children(), without_main():
            deaf(forkserver.ensure_running, lambda _: None)
    except OSError:  # such as a $TMPDIR whose path is too long for a socket
        _loaded.clear()


def forking() -> bool:
    """True if workers are to be forked."""
    return bool(_loaded)


def name_modules() -> None:
    """Name what a fork server of ours loads that has to start again, once Dask has named what it would."""
    if _loaded:
        from multiprocessing import forkserver

        forkserver.set_forkserver_preload(_loaded)


@contextlib.contextmanager
def without_main() -> Iterator[None]:
    """Processes that start in here do not run this one's main program: a spawned process does so first (multiprocessing's
    `spawn`), and a worker has no use for the commands, nor for a script that renders."""
    main = sys.modules["__main__"].__dict__
    hidden = {name: main.get(name) for name in ("__file__", "__spec__")}
    main.pop("__file__", None)
    main["__spec__"] = None
    try:
        yield
    finally:
        main.update({name: value for name, value in hidden.items() if value is not None})


@contextlib.contextmanager
def for_children() -> Iterator[None]:
    """Environment of processes that start in here: one thread a library."""
    before = {name: os.environ.get(name) for name in ENVIRONMENT}
    os.environ.update(ENVIRONMENT)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def environment_of_others() -> dict[str, str]:
    """Environment of programs that are not ours: as this process began. A worker that starts again leaves its own in it (Dask's
    `pre-spawn-environ`)."""
    ours = {name: value for name, value in _BEFORE.items() if value is not None}
    return {name: value for name, value in os.environ.items() if name not in ENVIRONMENT} | ours
