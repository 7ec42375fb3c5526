"""A chart of a day's colour: the mean L*, a* and b* of every delivered clip in the order of its timecode, from the log alone.

    python colour_of_a_day.py out day.png

A clip that stands apart was lit, exposed or graded otherwise: worth a look, and no verdict.
"""

import json
import sys
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure


def delivered(folder: str) -> list[dict]:
    """The latest record of each delivered clip, by timecode."""
    records = {}
    for line in (Path(folder) / "log" / "jobs.jsonl").read_text(encoding="utf-8").splitlines():
        record = json.loads(line)
        records[record["job"]] = record
    made = [record for record in records.values() if record["status"] == "done"]
    return sorted(made, key=lambda record: record["first_timecode"])


def mean_colour(record: dict) -> np.ndarray:
    """Mean L*a*b* of the tiles of the first output that a display shows; tiles under burn-in are null."""
    for samples in record["colour"]["tiles"].values():
        tiles = [
            tile for sample in samples for row in sample["values"] for tile in row if tile[0] is not None
        ]
        if tiles:
            return np.mean(tiles, axis=0)
    return np.full(3, np.nan)


def main(folder: str, picture: str) -> int:
    records = delivered(folder)
    colours = np.array([mean_colour(record) for record in records]).reshape(-1, 3)
    figure = Figure(figsize=(max(6, len(records) * 0.3), 5), layout="constrained")
    light, chroma = figure.subplots(2, 1, sharex=True)
    light.plot(colours[:, 0], "o-", color="0.3", label="L*")
    chroma.plot(colours[:, 1], "o-", color="tab:orange", label="a* (green to magenta)")
    chroma.plot(colours[:, 2], "s--", color="tab:blue", label="b* (blue to yellow)")
    for axes in (light, chroma):
        axes.grid(alpha=0.3)
        axes.legend(loc="upper right", fontsize=8)
    chroma.set_xticks(range(len(records)), [record["clip"] for record in records], rotation=90, fontsize=7)
    figure.savefig(picture)
    print(f"{picture}: {len(records)} clips")
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
