"""Outputs to be made, for forecasts of room."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

from rushlight.batch.room.room_forecast import ToMake
from rushlight.pipelines.job.spec import MovieSpec

GB = 1_000_000_000


def movie(output: str) -> MovieSpec:
    return MovieSpec(
        output=output, folder=output, state="graded", width=1920, height=1080, identity="x", file="x.mov",
        codec="dnxhr-sq", container="mov", sound="none", frame={"mode": "pad"}, guides=None,
    )  # fmt: skip


def item(out: Path, job: str, *outputs: str, minutes: float = 1.0, **more: Any) -> ToMake:
    frames = round(minutes * 60 * 24)
    return ToMake(
        out=out, job=job, outputs=tuple(map(movie, outputs)), frames=frames, rate=Fraction(24), **more
    )
