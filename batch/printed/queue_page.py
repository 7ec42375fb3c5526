"""`rushlight queue list`, printed: what needs a person, what runs and what waits, why in this order, and when it ends."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from rushlight.batch.api.queue import QueueJob, QueueResult
from rushlight.batch.api.queue import list as list_jobs
from rushlight.batch.exit_codes import DONE
from rushlight.batch.terminal.console import say, say_json, say_wrapped
from rushlight.batch.terminal.text_tables import print_table
from rushlight.pipelines.counted import counted

__all__ = ["show_queue"]

NEEDY = ("failed", "set aside")
ORDER = ("running", "queued", "held", "done", *NEEDY)


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
    _print_needy(found.jobs)
    _print_jobs(found)
    say(_sums(found.jobs))
    say_wrapped(f"run by {found.runner}" if found.runner else "nobody runs it: rushlight queue run")
    for folder, moment in found.ends.items():
        say_wrapped(f"{folder}: ends at about {datetime.fromisoformat(moment).astimezone():%H:%M}")
    return DONE


def _sums(jobs: Sequence[QueueJob]) -> str:
    """The jobs in numbers, by state; and of how many clips, where some are made in several parts."""
    counts, clips = Counter(job.state for job in jobs), len({(job.out, job.clip) for job in jobs})
    text = ", ".join(f"{counts[state]} {state}" for state in ORDER if counts[state])
    return text if clips == len(jobs) else f"{counted(clips, 'clip')} in {len(jobs)} parts: {text}"


def _print_needy(jobs: Sequence[QueueJob]) -> None:
    """Print the clips that wait for a person, with what is wrong, ahead of all others."""
    needy = [job for job in jobs if job.state in NEEDY]
    for job in needy:
        say_wrapped(f"{job.state.upper()}  {job.clip}: {job.error}", indent="    ")
    if needy:
        say_wrapped("rushlight queue retry, once it is put right")
        say()


def _print_jobs(found: QueueResult) -> None:
    several = len({job.out for job in found.jobs}) > 1
    rows = []
    for number, job in enumerate((j for j in found.jobs if j.state not in NEEDY), 1):
        percent = f"{job.percent} %" if job.made or job.state in ("running", "done") else "-"
        row = [
            str(number),
            job.clip,
            job.state,
            percent,
            str(job.frames),
            job.turn if job.state != "done" else "",
        ]
        rows.append([*row, Path(job.out).name] if several else row)
    if rows:
        print_table(
            ["", "clip", "state", "made", "frames", "its turn", *(["folder"] if several else [])], rows
        )
    if not several:
        say_wrapped(f"into {found.jobs[0].out}")
