"""What an output folder has of a clip: the files that are there as the log has them, and the outputs that are not."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from rushlight.batch.records.files import Output
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.queue_row import QueuedOutput
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.inside_folder import same_time, stat_of
from rushlight.pipelines.job.spec import MovieSpec, OutputSpec

__all__ = ["all_there", "paths_of", "still_there", "to_make", "whole_again"]


def still_there(out: Path, entry: Output) -> bool:
    """True if a delivered file is there as the record has it, by size and time (as far as its disk keeps it)."""
    try:
        info = stat_of(out, entry.path)
    except (OSError, OutsideError):
        return False
    return info.st_size == entry.bytes and same_time(info.st_mtime_ns, entry.mtime_ns)


def all_there(out: Path, outputs: Iterable[QueuedOutput], record: JobRecord | None) -> bool:
    """True if everything that a job (its outputs in plain values) is to make is delivered already, as
    recorded."""
    if record is None or record.status != "done":
        return False
    for output in outputs:
        entries = [e for e in record.outputs if e.output == output.output]
        if not entries or any(e.identity != output.identity for e in entries):
            return False
        if not all(still_there(out, e) for e in entries):
            return False
    return True


def paths_of(output: OutputSpec) -> list[str]:
    """Paths of the files that an output makes, from the output folder."""
    files = [output.file] if isinstance(output, MovieSpec) else [still.file for still in output.stills]
    return [f"{output.folder}/{file}" for file in files]


def whole_again(record: JobRecord, *, by_hand: bool | None = None) -> str:
    """How a clip that was delivered with damaged frames is made anew, without a full stop. `by_hand`: frames that an earlier night
    found mended are damaged in what was made since; if None, as the record has it."""
    told = "Once its original is copied again whole, "
    if by_hand is None:
        mended = record.source.mended if record.source else ()
        by_hand = any(first <= each.frame <= last for first, last in mended for each in record.damage)
    if not by_hand:
        return f"{told}give the same command: it is made again"
    files = shortened([entry.path for entry in record.outputs], 3)
    return f"{told}move its files away ({files}) and give the same command: it is made anew"


def to_make(
    out: Path, outputs: tuple[OutputSpec, ...], record: JobRecord | None
) -> tuple[tuple[OutputSpec, str], ...]:
    """The outputs that are not there unchanged, each with the reason."""
    kept = record.outputs if record else []
    found: list[tuple[OutputSpec, str]] = []
    for output in outputs:
        same = [e for e in kept if e.output == output.output]
        paths = set(paths_of(output))
        if not same and record and not paths:
            continue  # stills where the list asks for none
        if not same:
            found.append((output, "new"))
        elif any(e.identity != output.identity for e in same) or {e.path for e in same} != paths:
            found.append((output, "changed"))
        elif not all(still_there(out, e) for e in same):
            found.append((output, "missing or damaged"))
    return tuple(found)
