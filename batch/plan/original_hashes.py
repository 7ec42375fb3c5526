"""Hashes of a clip's original, taken once: a record that has them saves reading it again."""

from __future__ import annotations

from pathlib import Path

from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.original import Source
from rushlight.pipelines.inside_folder import same_time
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.probe import full_hash, sampled_hash

__all__ = ["hashes_of", "is_as_recorded"]


def is_as_recorded(source: Source, path: Path, facts: Facts) -> bool:
    """True if an original lies where its record has it, with the same size and time."""
    as_there = (source.path, source.bytes) == (str(path.absolute()), facts.bytes)
    return as_there and same_time(source.mtime_ns, facts.mtime_ns)


def hashes_of(clip: PlannedClip, record: JobRecord | None, *, full: bool) -> tuple[str, str]:
    """Sampled hash, and the one to be logged; taken from the record where size and time are as they were."""
    source = (record and record.source) or Source()
    same = is_as_recorded(source, clip.path, clip.facts)
    sampled = source.sampled if same else ""
    sampled = sampled or sampled_hash(clip.facts)
    if not full:
        return sampled, sampled
    logged = source.hash if same else ""
    return sampled, logged if logged.startswith("xxh3_128:") else full_hash(clip.facts)
