"""A show of many days: each with its card, list and output folder, one queue for all; real records, empty movies.

One clip is really rendered; every other is its original under another name, its record with other names, and movies of no content and
the recorded size (sparse files), so that a show of 60 days costs seconds and no disk.
"""

from __future__ import annotations

import json
import os
import re
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from here import RECIPE, run, small_day, write_list

__all__ = ["Show", "simulated"]


@dataclass(frozen=True, kw_only=True)
class Show:
    """Where it lies."""

    folder: Path
    days: int
    clips: int  # a day
    queue: Path
    recipe: Path

    def day(self, number: int) -> Path:
        return self.folder / f"day_{number:02}"

    def request(self, number: int) -> tuple[object, ...]:
        """The list of a day, and what is given with it."""
        place = self.day(number)
        return place / "day.csv", "--recipe", self.recipe, "--media", place / "card"


def simulated(folder: Path, days: int, clips: int) -> Show:
    """Make it. HereFarm renders the one clip: the caller's test takes the fixture `farm_here`."""
    first = small_day(folder / "first", {"A001C001": 4})
    write_list(first, {"A001C001": {}})
    (folder / "recipe.toml").write_text(RECIPE)
    code, said = run(
        "render", first, "--recipe", folder / "recipe.toml", "--out", folder / "first_out", "--keep-free", "0"
    )
    assert code == 0, said
    show = Show(
        folder=folder / "show", days=days, clips=clips, queue=folder / "state" / "show.queue",
        recipe=folder / "recipe.toml",
    )  # fmt: skip
    show.folder.mkdir()
    show.queue.parent.mkdir(mode=0o700)
    for number in range(1, days + 1):
        _day(show, number, folder / "first", folder / "first_out")
    _queued(show)
    return show


def names(show: Show, number: int) -> list[str]:
    """The clips of a day."""
    return [f"A{number:03}C{clip:03}" for clip in range(1, show.clips + 1)]


def _day(show: Show, number: int, first: Path, made: Path) -> None:
    place = show.day(number)
    (place / "card").mkdir(parents=True)
    for name in names(show, number):
        os.link(first / "A001C001.mov", place / "card" / f"{name}.mov")
    write_list(place / "day.csv", {name: {} for name in names(show, number)})
    out = place / "out"
    for inner in ("log", "editorial", "viewing"):
        (out / inner).mkdir(parents=True)
    with (made / "log" / "jobs.jsonl").open() as stream:
        record = json.loads(stream.read().splitlines()[-1])
    lines = []
    for name in names(show, number):
        text = json.dumps(record).replace(str(first), str(place / "card")).replace("A001C001", name)
        told = json.loads(text)
        for entry in told["outputs"]:
            path = out / entry["path"]
            with path.open("wb") as stream:
                stream.truncate(entry["bytes"])
            entry["mtime_ns"] = path.stat().st_mtime_ns
        lines.append(json.dumps(told, separators=(",", ":"), ensure_ascii=False))
    (out / "log" / "jobs.jsonl").write_text("\n".join(lines) + "\n")


def _queued(show: Show) -> None:
    """A queue that has every day as done: the rows of one, really added, under the others' names."""
    code, said = run("queue", "add", *show.request(1), "--out", show.day(1) / "night", "--queue", show.queue)
    assert code == 0, said
    with closing(sqlite3.connect(show.queue)) as queue, queue:
        columns = [row[1] for row in queue.execute("PRAGMA table_info(job)")]
        rows = queue.execute(f"SELECT {','.join(columns)} FROM job ORDER BY clip").fetchall()
        assert len(rows) == show.clips
        fill = f"INSERT INTO job ({','.join(columns)}) VALUES ({','.join('?' * len(columns))})"
        for number in range(2, show.days + 1):
            for row in rows:
                queue.execute(fill, [_renamed(cell, number) for cell in row])
        queue.execute("UPDATE job SET state='done'")


def _renamed(cell: object, number: int) -> object:
    if not isinstance(cell, str):
        return cell
    if re.fullmatch("[0-9a-f]{16,}", cell):  # a key, an identity
        return f"{number:02x}{cell[2:]}"
    return cell.replace("A001C", f"A{number:03}C").replace("day_01", f"day_{number:02}")
