"""Looks of a delivery baked today, and held against those that it keeps: whether other versions give other numbers is measured here."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.looks.baked_looks import kept_look
from rushlight.batch.plan.jobs import asked_outputs
from rushlight.pipelines.counted import counted
from rushlight.pipelines.job.spec import LookSpec, State, digest_of
from rushlight.pipelines.recipe.model import MovieOutput

if TYPE_CHECKING:
    from rushlight.batch.plan.prepare import Prepared
    from rushlight.pipelines.grading.lattice import Lattice

__all__ = ["looks_then"]


def looks_then(prepared: Prepared, origin: Path) -> str:
    """A sentence on the looks of the movies that are planned from what `origin` keeps; empty where they have none. Takes about a
    second for each show transform."""
    from rushlight.pipelines.grading.bake import bake
    from rushlight.pipelines.job.from_spec import build_look

    wanted: dict[str, tuple[LookSpec, State]] = {}
    for clip in prepared.plan.clips:
        for output in asked_outputs(clip, prepared.recipe):
            if isinstance(output, MovieOutput) and output.state != "log":
                look = clip.look_of(output.name)
                wanted[digest_of([look.identity(), output.state])] = look, output.state
    lattices: dict[str, Lattice] = {}
    same = moved = 0
    for key, (look, state) in wanted.items():
        made = bake(build_look(look, origin), state, look.size, lattices)
        kept = kept_look(origin, key, made)
        same += kept is not None and kept.digest == made.digest
        moved += kept is not None and kept.digest != made.digest
    if not wanted:
        return ""
    found = [f"{same} with the numbers of then"] if same else []
    found += (
        [f"{moved} with other last digits than then (movies take those of then, stills those of today)"]
        if moved
        else []
    )
    new = len(wanted) - same - moved
    found += [f"{new} of which none is kept"] if new else []
    return f"{counted(len(wanted), 'look')} of movies come out today: {', '.join(found)}"
