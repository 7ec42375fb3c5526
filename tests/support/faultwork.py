"""The product's own work functions with a fault put in ahead: what a clip's field `fault` says happens in the worker."""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import time
from pathlib import Path
from typing import Any

from rushlight.batch.finish import finish as product
from rushlight.pipelines.render.segment import render_segment


def once(payload: dict[str, Any], name: str) -> bool:
    """Whether this has not happened before, in whichever worker."""
    try:
        Path(payload["out"]).with_name(f"{name}.happened").open("x").close()
    except FileExistsError:
        return False
    return True


def segment(
    payload: dict[str, Any], index: int, token: str, threads: int = 1, graphics: str = "auto"
) -> dict[str, Any]:
    fault = payload["fields"].get("fault", "")
    if fault == "segfault" and index == 1:
        ctypes.string_at(0)
    if fault == "eats memory":
        hoard = []
        for _ in range(150):  # at most 3 GB, should nobody stop it
            hoard.append(b"x" * 20_000_000)
            time.sleep(0.02)
    if fault == "stands still" and index == 1 and once(payload, fault):
        os.kill(os.getpid(), signal.SIGSTOP)
    if fault == "unplugged" and index == 1 and once(payload, fault):
        media = Path(payload["source"]["path"]).parent
        media.rename(media.with_name("unplugged"))
    if fault == "short files":
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, before[1]))
        try:
            return render_segment(payload, index, token, threads, graphics)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
    return render_segment(payload, index, token, threads, graphics)


def finish(payload: dict[str, Any], segments: list[dict[str, Any]], token: str) -> dict[str, Any]:
    if payload["fields"].get("fault") == "short joins":
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, before[1]))
        try:
            return product.finish_job(payload, segments, token)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
    return product.finish_job(payload, segments, token)
