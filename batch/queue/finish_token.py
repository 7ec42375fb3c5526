"""Whose finish of a job counts: one that was given up and comes back to life gives no file its final name.

A worker may be cut off, or stand still, with its job's finish in hand; the runner gives that finish to another
one. The runner names the attempt that counts in the job's working folder, and a finish looks there right before it gives a
file its final name.
"""

from __future__ import annotations

from pathlib import Path

from rushlight.pipelines.errors import DeliveryError, OutsideError
from rushlight.pipelines.inside_folder import read_bytes, write

__all__ = ["let_finish", "may_finish"]


def _place(job: str) -> str:
    return f".work/{job}/finish"


def let_finish(out: Path, job: str, token: str) -> None:
    """From now on only the attempt `token` may finish this job."""
    write(out, _place(job), token.encode())


def may_finish(out: Path, job: str, token: str) -> None:
    """DeliveryError unless `token` is the attempt that counts."""
    try:
        counts = read_bytes(out, _place(job)) == token.encode()
    except (OSError, OutsideError):
        counts = False
    if not counts:
        raise DeliveryError("was finished by another worker meanwhile", file=job)
