"""python -m tests.support.card_table [--quick] [--to docs/graphics-card-table.md]

On a machine with a card: every byte and count of the card's kernel against the processor's, over the whole table of formats, sitings
and levels, all kinds of looks, 200 random ones on noise, and direct evaluation. Prints the table that stands in docs/graphics-cards.md.
Exit code 1 where anything differs.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import product
from pathlib import Path

import numpy as np

from rushlight.pipelines.card.card import Card
from rushlight.pipelines.grading.bake import Baked
from rushlight.pipelines.grading.kernel import grade_rows
from tests.support.card_matrix import LOOKS, Way, every_way, graded, look, noise, random_look, ways

__all__ = ["driver"]

Case = tuple[Baked, Way, int]


@dataclass
class Line:
    """What was held against each other so far."""

    what: str
    ways: int = 0
    bytes: int = 0
    differ: int = 0
    counts: int = 0
    seconds: float = 0.0

    def cells(self) -> list[str]:
        numbers = (self.ways, self.bytes, self.differ, self.counts)
        return [self.what, *(f"{n:,}" for n in numbers), f"{self.seconds:.0f} s"]


def formats(share: int) -> Iterator[Case]:
    for k, way in enumerate(every_way()):
        if not k % share:
            yield (look("CDL ahead", 33) if k % 2 else random_look(k % 40)), way, k


def kinds(share: int) -> Iterator[Case]:
    for size, name in product((33, 65), LOOKS):
        for k, way in enumerate(ways(5, 16)):
            if not k % share:
                yield look(name, size), way, k


def random_looks(share: int) -> Iterator[Case]:
    for seed in range(0, 200, share):
        like = ways(seed, 3)[seed % 3]
        way = Way(
            source=like.source,
            target=like.target,
            size=(322, 182),
            siting=like.siting,
            source_siting=like.source_siting,
        )
        yield random_look(seed), way, seed


def directly(share: int) -> Iterator[Case]:
    marked = look("CDL ahead", 65)
    assert marked.direct is not None
    for seed, source in product(range(0, 30, share), ("gbrp16le", "yuv422p10le", "gbrpf32le")):
        for baked, size in ((marked, (640, 360)), (random_look(1000 + seed, marked), (320, 180))):
            yield baked, Way(source=source, target="yuv444p16le", size=size, source_levels="full"), seed


PARTS = {
    "16 originals' formats x 8 outputs' x sitings x levels": formats,
    f"{len(LOOKS)} kinds of look, of 33 and 65 points a side": kinds,
    "200 random looks on noise": random_looks,
    "direct evaluation, of its own share and of shares of noise": directly,
}


def held(card: Card, line: Line, case: Case) -> None:
    baked, way, seed = case
    frame = noise(way.source, *way.size, seed)
    (ours, counts), (theirs, counted) = (graded(baked, way, rows, frame) for rows in (grade_rows, card))
    differ = int((np.frombuffer(ours, np.uint8) != np.frombuffer(theirs, np.uint8)).sum())
    if differ or counts != counted:
        print("  differs:", way, differ, counts, counted, flush=True)
    line.ways, line.bytes = line.ways + 1, line.bytes + len(ours)
    line.differ, line.counts = line.differ + differ, line.counts + (counts != counted)


def driver() -> str:
    """The driver's version, as it says itself."""
    import re

    try:
        words = Path("/proc/driver/nvidia/version").read_text()
    except OSError:
        return "unknown"
    found = re.search(r"\b\d{3,}\.\d+(?:\.\d+)?\b", words)
    return found.group() if found else "unknown"


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.support.card_table", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="every 20th case: to see that it works")
    parser.add_argument("--to", type=Path, help="write the table here as well")
    given = parser.parse_args()
    card = Card()
    card.open()
    import cupy

    head = f"{datetime.now(UTC):%Y-%m-%d}, {card.name}, driver {driver()}, CuPy {cupy.__version__}"
    head += f", CUDA {cupy.cuda.runtime.runtimeGetVersion()}{', every 20th case' if given.quick else ''}"
    print(head, flush=True)
    lines = []
    for what, cases in PARTS.items():
        lines.append(line := Line(what=what))
        begun = time.monotonic()
        for case in cases(20 if given.quick else 1):
            held(card, line, case)
        line.seconds = time.monotonic() - begun
        print(" ", "; ".join(line.cells()), flush=True)
    rows = [["what", "cases", "bytes", "bytes that differ", "counts that differ", "took"], ["---"] * 6]
    rows += [line.cells() for line in lines]
    table = f"{head}\n\n" + "".join(f"| {' | '.join(row)} |\n" for row in rows)
    print("\n" + table)
    if given.to:
        given.to.write_text(table)
    return int(any(line.differ or line.counts for line in lines))


if __name__ == "__main__":
    sys.exit(main())
