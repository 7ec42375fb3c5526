"""A machine's graphics card: whether it grades, how many workers it has memory for, and how much faster it is. Where none is
there, CuPy is not imported."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import cast

from rushlight.batch.disks import size_text
from rushlight.batch.doctor.finding import Finding
from rushlight.batch.plan.request import default_workers
from rushlight.pipelines.card.card import most_bytes

__all__ = ["graphics_card"]

ABOUT = "graphics card"
DRIVER = Path("/proc/driver/nvidia/version")  # there while NVIDIA's driver is loaded
NEWEST = 580  # the first driver for CUDA 13
PATIENCE = 120.0  # seconds
UHD = (3840, 2160)


def graphics_card() -> Finding:
    """The finding. Never in the way of a night: the processor gives the same colour."""
    driver = _driver()
    if not driver:
        return Finding(about=ABOUT, found="none of NVIDIA's is there: the processor grades")
    if find_spec("cupy") is None:
        extra = "cuda" if int(driver.split(".")[0]) >= NEWEST else "cuda12"
        return _not_used(
            f"one is there (driver {driver}), but CuPy is not installed: the processor grades",
            f"pip install 'rushlight[{extra}]'",
            {"driver": driver},
        )
    facts = {"driver": driver, **_probed()}
    if facts["why_not"]:
        return _not_used(f"not used: {facts['why_not']}: the processor grades", "", facts)
    return _used(facts)


def _not_used(found: str, advice: str, facts: Mapping[str, object]) -> Finding:
    advice = advice or "the colour is the same; docs/graphics-cards.md says what else may be done"
    return Finding(about=ABOUT, found=found, weight="note", advice=advice, facts=facts)


def _used(facts: Mapping[str, object]) -> Finding:
    free, total = (cast("int", facts[name]) for name in ("free_bytes", "total_bytes"))
    worker, workers = most_bytes(*UHD), default_workers()
    fit = free // worker
    found = (
        f"{facts['name']}, driver {facts['driver']}, CuPy {facts['cupy']}; the processor's bits in a test; a frame of 1920x1080 in"
        f" {facts['card_ms']} ms, by the processor {facts['processor_ms']}; {size_text(free)} of {size_text(total)} free, for {fit} workers"
        f" of {size_text(worker)} at 3840x2160"
    )
    facts = {**facts, "worker_bytes": worker, "workers": fit}
    if fit < workers:
        advice = f"of {workers} workers those that find no memory on it grade on the processor"
        return Finding(about=ABOUT, found=found, weight="note", advice=advice, facts=facts)
    return Finding(about=ABOUT, found=found, facts=facts)


def _driver() -> str:
    """Its version, as NVIDIA's driver or its own tool says it; nothing where neither is there."""
    try:
        words = DRIVER.read_text()
    except OSError:
        words = _asked()
    found = re.search(r"\b\d{3,}\.\d+(?:\.\d+)?\b", words)
    return found.group() if found else ""


def _asked() -> str:
    tool = shutil.which("nvidia-smi")
    if tool is None:
        return ""
    command = [tool, "--query-gpu=driver_version", "--format=csv,noheader"]
    try:
        return subprocess.run(command, capture_output=True, text=True, timeout=20, check=True).stdout
    except (OSError, subprocess.SubprocessError):
        return ""


def _probed() -> dict[str, object]:
    """What `card_probe` found, or why it found nothing."""
    command = [sys.executable, "-P", "-m", "rushlight.batch.doctor.card_probe"]
    try:
        run = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE, check=False)
        found: dict[str, object] = json.loads(run.stdout.splitlines()[-1])
    except subprocess.TimeoutExpired:
        return {"why_not": f"it did not answer in {PATIENCE:.0f} s"}
    except (ValueError, IndexError):
        last = (run.stderr.strip().splitlines() or [f"exit code {run.returncode}"])[-1]
        return {"why_not": f"the process that tried it ended: {last}"}
    return found
