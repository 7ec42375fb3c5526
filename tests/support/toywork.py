"""Work functions for the runner's tests: they write small files, and do as their job says."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import Any

from recorded import recorded
from rushlight.pipelines.errors import DeliveryError, ResourceError, SourceError


def segment(
    payload: dict[str, Any], index: int, token: str, threads: int = 1, graphics: str = "auto"
) -> dict[str, Any]:
    folder = Path(payload["out"]) / ".work" / payload["job"]
    folder.mkdir(parents=True, exist_ok=True)
    with (Path(payload["out"]) / "calls.txt").open("a") as stream:
        stream.write(f"{payload['job']} {index} {os.getpid()}\n")
    does = payload.get("does", "")
    if does == "die":
        os._exit(9)
    if does == "segfault":
        import ctypes

        ctypes.string_at(0)
    if does == "source":
        raise SourceError("does not decode", file=payload["job"])
    if does == "odd":
        raise ZeroDivisionError("odd")
    if does == "short once" and not (folder / "tried").exists():
        (folder / "tried").write_text("x")
        raise ResourceError("too many open files")
    time.sleep(payload.get("seconds", 0.0))
    path = folder / f"{index}.part"
    path.write_text(f"{payload['job']} {index}\n")
    if does == "wrong answer":
        return {"index": index, "frames": "many"}
    return {"index": index, "frames": 1, "files": [{"path": str(path), "bytes": path.stat().st_size}]}


def finish(payload: dict[str, Any], segments: list[dict[str, Any]], token: str) -> dict[str, Any]:
    if payload.get("does") == "bad delivery":
        raise DeliveryError("is 3 frames short", file="x.mov")
    text = "".join(Path(s["files"][0]["path"]).read_text() for s in segments)
    final = Path(payload["out"]) / f"{payload['job']}.txt"
    final.write_text(text)
    wrong = {"wrong record": {"outputs": "all"}, "record outside": {"job": "../x"}}
    return recorded(payload["job"], frames=len(segments)) | wrong.get(payload.get("does", ""), {})


def puts_on_disk(dask_worker: Any) -> tuple[Any, ...]:
    """Of a worker of Dask's: at what share of its memory it would put results on its disk."""
    memory = dask_worker.memory_manager
    return memory.memory_target_fraction, memory.memory_spill_fraction


def missing(kinds: list[Any]) -> list[Any]:
    return [kind for kind in kinds if kind[0] != "there"]


def compile_all(kinds: list[Any]) -> list[Any]:
    return kinds


def environment(payload: dict[str, Any]) -> dict[str, Any]:
    """How many threads libraries may have in this process, and whether it is a fork of one that loaded what it needs."""
    time.sleep(0.5)  # so that the other one takes the other
    names = ("OMP_NUM_THREADS", "NUMBA_NUM_THREADS", "OPENIMAGEIO_THREADS")
    threads = " ".join(os.environ.get(name, "-") for name in names)
    return {
        "process": os.getpid(),
        "threads": threads,
        "loaded": "rushlight.batch.farm.forked" in sys.modules,
    }


ANSWER: list[str] | None = []


def answered() -> list[str] | None:
    """What a test says."""
    return ANSWER
