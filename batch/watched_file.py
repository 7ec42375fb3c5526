"""The file of a watched day, `log/watched.json` in each of its output folders: written whole, read back when the run starts again."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from rushlight.batch.json_lines import plain_json
from rushlight.batch.records.watched_day import WATCHED_FILE, WatchedDay
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import read_bytes, write

__all__ = ["keep_watched", "read_watched"]


def keep_watched(out: Path, day: WatchedDay) -> None:
    """Write the file; it has its name only once it is whole and on the disk. OSError where it cannot be written."""
    write(out, WATCHED_FILE, json.dumps(day.plain(), ensure_ascii=True).encode(), sync=True)


def read_watched(outs: Iterable[Path]) -> WatchedDay | None:
    """The first that reads; None without any. Nothing is lost with it but what is gone now: a card is told by what is on it, and a
    clip that is made by the log."""
    for out in outs:
        try:
            return WatchedDay.read(plain_json(read_bytes(out, WATCHED_FILE)))
        except (OSError, ValueError, RushlightError):
            continue
    return None
