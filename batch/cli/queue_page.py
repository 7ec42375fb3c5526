"""`rushlight queue list`, printed."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from rushlight.batch.api.queue import list as list_jobs
from rushlight.batch.exit_codes import DONE
from rushlight.batch.terminal.console import say, say_json
from rushlight.batch.terminal.text_tables import print_table

__all__ = ["show_queue"]


def show_queue(queue: Path | None, *, as_json: bool) -> int:
    """The jobs, first to be run first."""
    found = list_jobs(queue=queue)
    for text in found.damaged:
        say(text, error=True)
    if as_json:
        say_json(found.document())
        return DONE
    if not found.jobs:
        say(f"{found.queue} is empty")
        return DONE
    table = [(j.clip, j.state, str(j.priority), str(j.frames), j.out, j.error) for j in found.jobs]
    print_table(("clip", "state", "priority", "frames", "out", "error"), table)
    say(", ".join(f"{count} {state}" for state, count in Counter(j.state for j in found.jobs).items()))
    return DONE
