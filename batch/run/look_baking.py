"""The looks of a plan baked; one that cannot be, by a fault of our own, costs the clips that have it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from rushlight.batch.error_log import kept_fault
from rushlight.batch.job_log import append_record, failure_record
from rushlight.batch.plan.jobs import job_id
from rushlight.batch.plan.prepare import Prepared
from rushlight.batch.queue.filling import Turn
from rushlight.batch.run.kept_inputs import bake_looks
from rushlight.pipelines.errors import ResourceError, own_fault
from rushlight.pipelines.job.spec import digest_of

__all__ = ["baked"]


def baked(prepared: Prepared, out: Path, turns: list[Turn]) -> list[Turn]:
    """`bake_looks` of a plan's jobs; those that are left out are among what the plan calls broken, and in the log."""
    kept = prepared.request.origin
    try:
        return _with_looks(out, turns, kept)
    except (OSError, ResourceError):
        raise
    except Exception:  # of one look: which, is found by baking each for itself
        pass
    alike: dict[str, list[Turn]] = {}
    for turn in turns:
        alike.setdefault(digest_of(turn.spec.look.identity()), []).append(turn)
    found: dict[int, Turn] = {}
    for group in alike.values():
        try:
            made = _with_looks(out, group, kept)
        except (OSError, ResourceError):
            raise
        except Exception as error:
            _failed(prepared, out, {turn.spec.job for turn in group}, error)
        else:
            found |= {id(turn): whole for turn, whole in zip(group, made, strict=True)}
    return [found[id(turn)] for turn in turns if id(turn) in found]


def _with_looks(out: Path, turns: list[Turn], kept: Path | None) -> list[Turn]:
    specs = bake_looks(out, [turn.spec for turn in turns], kept)
    return [replace(turn, spec=spec) for turn, spec in zip(turns, specs, strict=True)]


def _failed(prepared: Prepared, out: Path, jobs: set[str], error: Exception) -> None:
    plan = prepared.plan
    for clip in [c for c in plan.clips if job_id(c) in jobs]:
        fault = kept_fault(out, clip.row.clip, own_fault(error, "given its look"))
        append_record(out, failure_record(job_id(clip), clip.row.clip, "failed", str(fault)))
        plan.clips.remove(clip)
        plan.broken.append((clip.row, fault))
