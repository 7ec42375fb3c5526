"""The measures of a graphics card, for a machine that has one; elsewhere each gives no row and says so."""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

from tests.benchmarks.rows import Bench, Measure, Row

__all__ = ["CARD"]

FRAMES = {"hd": 60, "uhd": 20}


def alone(*words: str, processes: int = 1) -> list[dict[str, Any]]:
    """`tests.benchmarks.card_alone`, so many of them at once."""
    from rushlight.batch.farm.child_processes import ENVIRONMENT

    command = [sys.executable, "-m", "tests.benchmarks.card_alone", *words]
    env = {**os.environ, **ENVIRONMENT}  # a worker's
    running = [
        subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env) for _ in range(processes)
    ]
    said = [process.communicate()[0] for process in running]
    assert not any(process.returncode for process in running), said
    return [json.loads(words.splitlines()[-1]) for words in said]


def is_there() -> bool:
    """Asked in a process of its own: this one is to have nothing of the card."""
    words = "from rushlight.pipelines.card.graphics import Graphics; print(Graphics().why_not)"
    why = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=False)
    if why.stdout.strip() or why.returncode:
        print(f"  not measured: {why.stdout.strip() or why.stderr[-300:]}", flush=True)
        return False
    return True


def starting(found: dict[str, Any]) -> str:
    parts = [f"{name} {found[name]:.2f} s" for name in ("import", "open", "first")]
    return f"CPU: {', '.join(parts)}; {found['MB']:.0f} MB of memory, {found['card MB']} MB of the card"


def card_alone(bench: Bench) -> Iterator[Row]:
    """14. The kernel on a card against the processor's, one process: a whole call with its copies."""
    if not is_there():
        return
    cold = alone("card", "hd", "photo", "2")[0]
    for size, kinds in {"hd": ("photo", "grey", "noise", "light"), "uhd": ("photo", "light")}.items():
        took: dict[str, dict[str, Any]] = {}
        for kind in kinds:
            few = str(3 if kind == "light" else FRAMES[size] // 3)
            card, cpu = (
                alone("card", size, kind, str(FRAMES[size]))[0],
                alone("processor", size, kind, few)[0],
            )
            took[kind] = card
            note = f"{card['cpu']:.2f} ms CPU and {card['wall']:.2f} wall; the processor's {cpu['cpu']:.1f}"
            yield Row(what=f"kernel, {size}, {kind}: CPU over the processor's", figure=card["cpu"] / cpu["cpu"], note=note)  # fmt: skip
        yield Row(
            what=f"on the card, {size}: a saturated light that fills the frame over a normal one, wall",
            figure=took["light"]["wall"] / took["photo"]["wall"],
            goal=1.2,
        )
        note = starting(took["photo"])
        yield Row(
            what=f"a worker's start with the card, {size}, wall",
            figure=took["photo"]["start wall"],
            unit="s",
            note=note,
        )
    yield Row(
        what="the first worker's since it was compiled, or compiling",
        figure=cold["start wall"],
        unit="s",
        note=starting(cold),
    )


def card_shared(bench: Bench) -> Iterator[Row]:
    """15. As many processes at once as cores share the card, by the size of the pieces that frames pass through; CPU a frame."""
    if not is_there():
        return
    cores = len(os.sched_getaffinity(0))
    cpu = statistics.median(f["cpu"] for f in alone("processor", "hd", "photo", "40", processes=cores))
    for piece in (1 << 18, 1 << 20, 1 << 22, 1 << 25):
        found = alone("card", "hd", "photo", "200", str(piece), processes=cores)
        own, wall = (statistics.median(f[name] for f in found) for name in ("cpu", "wall"))
        yield Row(
            what=f"{cores} at once, hd, pieces of {piece >> 10} KB: CPU over the processor's",
            figure=own / cpu,
            note=f"{own:.2f} ms CPU, {wall:.2f} wall, the processor's {cpu:.1f}; {starting(found[0])}",
        )
    took = {
        kind: [
            statistics.median(f[name] for f in alone("card", "hd", kind, "200", processes=cores))
            for name in ("cpu", "wall")
        ]
        for kind in ("photo", "light")
    }
    for k, what in enumerate(("CPU", "wall")):
        yield Row(
            what=f"{cores} at once, hd, a saturated light that fills the frame over a normal one, {what}",
            figure=took["light"][k] / took["photo"][k],
            goal=1.2,
            note=f"{took['light'][k]:.2f} and {took['photo'][k]:.2f} ms",
        )


CARD: dict[str, Measure] = {"card": card_alone, "card-shared": card_shared}
