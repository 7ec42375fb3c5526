"""A glance at a queue's file for who only shows it: nothing is made, written, locked for long, or asked of the runner."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

__all__ = ["QueueGlance", "glance_at"]

_FOLDER = re.compile(r"@[0-9a-f]{8}$")  # what keeps the jobs of several output folders apart
PATIENCE = 0.5  # seconds that a writer may hold the file meanwhile


@dataclass(frozen=True, kw_only=True)
class QueueGlance:
    """What a page shows of one row."""

    job: str  # as the log has it
    out: str
    clip: str
    state: str
    frames: int


def glance_at(queue: Path) -> tuple[QueueGlance, ...] | None:
    """The rows, first to be run first; None where the file is not there or does not read now (a write that a dead runner
    left half done needs a runner to undo it)."""
    try:
        with closing(
            sqlite3.connect(f"{queue.absolute().as_uri()}?mode=ro", uri=True, timeout=PATIENCE)
        ) as db:
            db.text_factory = lambda text: text.decode("utf-8", "replace")
            rows = db.execute(
                "SELECT key,out,clip,state,frames FROM job ORDER BY priority DESC, rank, frames DESC, added, key"
            ).fetchall()
    except sqlite3.Error:
        return None
    return tuple(
        QueueGlance(job=job_in(key), out=out, clip=clip, state=state, frames=frames)
        for key, out, clip, state, frames in rows
        if all(isinstance(text, str) for text in (key, out, clip, state)) and isinstance(frames, int)
    )


def job_in(key: str) -> str:
    """The job of a row's key: what stands before the output folder and the recipe."""
    return _FOLDER.sub("", key.partition("/")[0])
