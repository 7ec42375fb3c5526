"""A worker process: it introduces itself, and makes the calls it is sent. It keeps no state of jobs."""

from __future__ import annotations

import importlib
import os
import platform
from collections.abc import Sequence
from typing import Any

from rushlight.batch.farm.path_map import PATIENCE, Mount, Unfit, awaited, homeward, outward
from rushlight.pipelines.errors import RushlightError, from_os, own_fault
from rushlight.pipelines.heartbeat import beats

__all__ = ["BEATS", "call", "call_elsewhere", "introduce", "versions"]

BEATS = "rushlight-beats"  # the name under which a worker's heartbeat carries its count


def call(function: str, arguments: tuple[Any, ...]) -> tuple[str, Any]:
    """Run a task in a worker: ("value", …) or ("error", an error that survives pickling)."""
    module, _, name = function.partition(":")
    try:
        return "value", getattr(importlib.import_module(module), name)(*arguments)
    except RushlightError as error:
        return "error", error
    except MemoryError as error:
        return "error", MemoryError(str(error))
    except OSError as error:  # such as a disk that became full or read-only between two steps
        return "error", from_os(error, error.filename or function)
    except Exception as error:
        return "error", own_fault(error, "made")


def call_elsewhere(function: str, arguments: tuple[Any, ...], mounts: Sequence[Mount]) -> tuple[str, Any]:
    """The same on another machine: its own paths in, the runner's out. The first argument is a job's payload."""
    payload, *others = arguments
    try:
        moved = outward(payload, mounts)
    except Unfit as error:
        return "unfit", error
    if others and isinstance(others[0], list):  # segments that other machines made
        files = [(f["path"], f["bytes"]) for s in others[0] for f in s["files"]]
        out = (payload["out"], moved["out"])
        away = awaited(((out[1] + p.removeprefix(out[0]), size) for p, size in files), PATIENCE)
        if away:
            return "unfit", Unfit("does not see a segment that another worker made", file=away)
    kind, value = call(function, (moved, *others))
    return kind, homeward(value, payload, moved)


def introduce() -> dict[str, Any]:
    """Introduce this worker to the farm. From here on its heartbeats say how it gets on, and it puts nothing
    on its disk."""
    from distributed import get_worker

    worker = get_worker()
    worker.metrics[BEATS] = lambda _: beats()
    memory = worker.memory_manager
    memory.memory_target_fraction = memory.memory_spill_fraction = memory.memory_pause_fraction = False
    return {"process": os.getpid(), "machine": platform.node(), "versions": versions()}


def versions() -> dict[str, str]:
    """Versions of what makes the pixels and carries the tasks, on this machine."""
    from importlib.metadata import version

    import av

    packages = (
        "rushlight",
        "av",
        "OpenImageIO",
        "opencolorio",
        "numpy",
        "numba",
        "colour-science",
        "distributed",
    )
    libraries = ("libavcodec", "libavformat", "libswscale")
    return {
        "Python": ".".join(platform.python_version_tuple()[:2]),
        **{name: version(name) for name in packages},
        **{name: ".".join(map(str, av.library_versions[name])) for name in libraries},
    }
