"""A worker process: it introduces itself, and makes the calls it is sent. It keeps no state of jobs."""

from __future__ import annotations

import importlib
import os
import platform
from collections.abc import Mapping, Sequence
from typing import Final

from rushlight.batch.farm.path_map import PATIENCE, Mount, PlacedJob, Unfit, awaited, homeward, outward
from rushlight.batch.records.queue_row import SegmentFile, SegmentResult
from rushlight.batch.records.shape import Plain, Shape
from rushlight.pipelines.errors import CardError, OptionError, RushlightError, from_os, own_fault
from rushlight.pipelines.heartbeat import beats, frames_made
from rushlight.pipelines.library_versions import versions

__all__ = ["BEATS", "FRAMES", "Introduction", "call", "call_elsewhere", "introduce"]

BEATS: Final = "rushlight-beats"  # the name under which a worker's heartbeat carries its count
FRAMES: Final = "rushlight-frames"  # and a piece of work, with the frames made of it


def call(function: str, arguments: tuple[object, ...]) -> tuple[str, object]:
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


def call_elsewhere(
    function: str, arguments: tuple[object, ...], mounts: Sequence[Mount]
) -> tuple[str, object]:
    """The same on another machine: its own paths in, the runner's out. The first argument is a job's payload."""
    payload, *others = arguments
    try:
        job = PlacedJob.read(payload)
        moved = outward(job, mounts)
        if others and isinstance(others[0], list):  # segments that other machines made
            made = [(moved.out + f.path.removeprefix(job.out), f.bytes) for f in _files(others[0])]
            if away := awaited(made, PATIENCE):
                return "unfit", Unfit("does not see a segment that another worker made", file=away)
    except Unfit as error:
        return "unfit", error
    except OptionError as error:
        return "error", error
    kind, value = call(function, (moved.plain(), *others))
    if isinstance(value, CardError):
        return "unfit", Unfit(value.text)
    return kind, homeward(value, job, moved)


def _files(segments: Sequence[object]) -> list[SegmentFile]:
    return [file for segment in segments for file in SegmentResult.read(segment).files]


class Introduction(Shape):
    """A worker, as it introduces itself."""

    process: int
    machine: str
    versions: Mapping[str, str]


def introduce() -> Plain:
    """Introduce this worker to the farm. From here on its heartbeats say how it gets on, and it puts nothing
    on its disk."""
    from distributed import get_worker

    worker = get_worker()
    worker.metrics[BEATS] = lambda _: beats()
    worker.metrics[FRAMES] = lambda _: list(frames_made())
    memory = worker.memory_manager
    memory.memory_target_fraction = memory.memory_spill_fraction = memory.memory_pause_fraction = False
    return Introduction(process=os.getpid(), machine=platform.node(), versions=versions()).plain()
