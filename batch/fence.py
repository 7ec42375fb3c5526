"""Whose finish of a job counts: one that was given up and comes back to life gives no file its final name.

A worker may be cut off, or stand still, with its job's finish in hand; the runner gives that finish to another
one. The runner names the attempt that counts in the job's working folder, and a finish looks there right before it gives a
file its final name.
"""

from __future__ import annotations

from pathlib import Path

from rushlight.pipelines.errors import DeliveryError

__all__ = ["let_finish", "may_finish"]


def _place(out: Path, job: str) -> Path:
    return out / ".work" / job / "finish"


def let_finish(out: Path, job: str, token: str) -> None:
    """From now on only the attempt `token` may finish this job."""
    place = _place(out, job)
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text(token)


def may_finish(out: Path, job: str, token: str) -> None:
    """DeliveryError unless `token` is the attempt that counts."""
    try:
        counts = _place(out, job).read_text() == token
    except OSError:
        counts = False
    if not counts:
        raise DeliveryError("was finished by another worker meanwhile", file=job)
