"""python -m tests.benchmarks [--only NAME ...] [--runs 3] [--quick] [--keep FOLDER] [--json FILE]

Prints a table of ratios, each with its goal. Contenders alternate within one run, so a machine that slows down slows
both. Nothing here is a test: a figure over its goal is said, and the exit code is 0.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import tempfile
from dataclasses import asdict
from pathlib import Path

from tests.benchmarks.card_rows import CARD
from tests.benchmarks.lived import LIVED
from tests.benchmarks.rows import MEASURES as BASIC
from tests.benchmarks.rows import Bench, Row

MEASURES = {**BASIC, **LIVED, **CARD}


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument(
        "--only", action="append", choices=list(MEASURES), help="take this measure; repeatable"
    )
    parser.add_argument("--runs", type=int, default=3, help="how often each contender runs")
    parser.add_argument(
        "--quick", action="store_true", help="short clips: to see that it works, not how fast"
    )
    parser.add_argument("--keep", type=Path, help="a folder for the originals made, kept for the next run")
    parser.add_argument("--json", type=Path, help="write the rows here as well")
    given = parser.parse_args()
    folder = given.keep or Path(tempfile.mkdtemp(prefix="rushlight-bench-"))
    folder.mkdir(parents=True, exist_ok=True)
    short = (
        {"seconds": 4, "long_seconds": 4, "clips": 6, "many": 20, "grow": 96, "lived": (1,)}
        if given.quick
        else {}
    )
    bench = Bench(folder=folder.absolute(), runs=given.runs, **short)
    rows: list[Row] = []
    try:
        print(
            f"{len(os.sched_getaffinity(0))} cores, load {os.getloadavg()[0]:.1f}, medians of {given.runs} runs"
        )
        for name in given.only or MEASURES:
            print(f"\n{(MEASURES[name].__doc__ or '').strip()}", flush=True)
            for row in MEASURES[name](bench):
                rows.append(row)
                print(_line(row), flush=True)
    finally:
        if given.json:
            given.json.write_text(json.dumps([asdict(row) for row in rows], indent=1))
        if not given.keep:
            shutil.rmtree(folder, ignore_errors=True)


def _line(row: Row) -> str:
    sign = "at least" if row.at_least else "at most"
    goal = "" if row.goal is None else f"{sign} {row.goal:g}"
    verdict = {None: "", True: "met", False: "NOT MET"}[row.met]
    text = f"  {row.figure:8.2f} {row.unit:<4}{goal:<14}{verdict:<8} {row.what}"
    return f"{text}\n{'':38}({row.note})" if row.note else text


if __name__ == "__main__":
    main()
