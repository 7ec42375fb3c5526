"""Files that are to have other names, since their recipe's templates or what their rows say did change: moved as they are, never made
again for it.

A file moves only where its pictures stay; one that is made again takes its new name then, and the old one is a revision. No file takes
the place of another: names that go round in a circle are parted by a name under `.work`. A night that is killed between a move and its
record finds the file at its new name the next time.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.kept_revisions import free_place, kept_place
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill, Output
from rushlight.batch.records.job_record import JobRecord, Replaced
from rushlight.batch.records.merged import with_outputs
from rushlight.batch.what_is_there import paths_of, still_there
from rushlight.pipelines.errors import from_os, no_room
from rushlight.pipelines.inside_folder import drop_empty, move, unlink_as
from rushlight.pipelines.job.spec import MovieSpec, OutputSpec, digest_of
from rushlight.pipelines.portable_name import same_name

__all__ = ["Move", "give_way", "in_the_way", "moved", "moves_of", "with_names"]

PARKED = ".work/renamed"


@dataclass(frozen=True, kw_only=True)
class Move:
    """A delivered file of a job that is to be called `path`, from the output folder."""

    job: str
    entry: Output
    path: str


def moves_of(record: JobRecord, outputs: Iterable[OutputSpec]) -> list[Move]:
    """The files of a record that are as they should be but for their names. A movie whose sound alone is to be made anew is one."""
    found = []
    for output in outputs:
        entries = [entry for entry in record.outputs if entry.output == output.output]
        for entry in entries:
            path = _path_of(entry, output)
            if path and path != entry.path and len(entries) == len(paths_of(output)):
                found.append(Move(job=record.job, entry=entry, path=path))
    return found


def _path_of(entry: Output, output: OutputSpec) -> str:
    """The name that an entry is to have; empty where the output makes another file."""
    if isinstance(output, MovieSpec):
        same = isinstance(entry, DeliveredMovie) and (
            entry.identity == output.identity
            or (entry.picture_identity and entry.picture_identity == output.picture_identity)
        )
        return (
            f"{output.folder}/{output.file}" if same and _ending(entry.path) == _ending(output.file) else ""
        )
    if not isinstance(entry, DeliveredStill) or entry.identity != output.identity:
        return ""
    return next(
        (
            f"{output.folder}/{still.file}"
            for still in output.stills
            if (still.frame, still.kind) == (entry.frame, entry.still_kind)
        ),
        "",
    )


def _ending(path: str) -> str:
    return path.rpartition(".")[2]


def moved(out: Path, moves: Sequence[Move]) -> list[Move]:
    """Move the files that can be; gives those that have their new names, some from before. A name that another file has, which is
    not about to move, is left to that. ResourceError where the disk is full."""
    todo: list[tuple[Move, str]] = []  # with where it is now
    done: list[Move] = []
    for each in moves:
        if still_there(out, each.entry):
            todo.append((each, each.entry.path))
        elif still_there(out, each.entry.model_copy(update={"path": each.path})):
            done.append(each)  # a night that was killed has moved it
        elif still_there(out, each.entry.model_copy(update={"path": _parked(each)})):
            todo.append((each, _parked(each)))
    while todo:
        free = [
            (each, at)
            for each, at in todo
            if not os.path.lexists(out / each.path) or _is_itself(out, at, each)
        ]
        for each, at in free:
            if _move(out, at, each.path):
                done.append(each)
        todo = [pair for pair in todo if pair not in free]
        if free or not todo:
            continue
        leaving = {same_name(at) for _, at in todo}
        circle = next((n for n, (each, _) in enumerate(todo) if same_name(each.path) in leaving), None)
        if circle is None:
            break  # all the names that are left belong to files of somebody else
        each, at = todo[circle]
        if at == _parked(each):
            break
        if not _move(out, at, _parked(each)):
            break
        todo[circle] = (each, _parked(each))
    for each, at in todo:  # none can have its name: back to where the record has it
        if at != each.entry.path and not os.path.lexists(out / each.entry.path):
            _move(out, at, each.entry.path)
    return done


def _is_itself(out: Path, at: str, each: Move) -> bool:
    """True if the new name is the old one on a disk that takes upper and lower case for one."""
    if same_name(at) != same_name(each.path):
        return False
    with suppress(OSError):
        return os.path.samefile(out / at, out / each.path)
    return False


def _parked(each: Move) -> str:
    return f"{PARKED}/{digest_of([each.job, each.entry.path, each.path])}"


def _move(out: Path, name: str, new: str) -> bool:
    """Move a file; False where that cannot be done, for which it is made again. ResourceError where the disk is full."""
    try:
        move(out, name, new)
    except OSError as error:
        if no_room(error):
            raise from_os(error, out / new) from None
        return False
    drop_empty(out, name, keep=1)  # the output's own
    return True


def with_names(record: JobRecord, done: Iterable[Move]) -> JobRecord:
    """A record whose files have their new names."""
    new = {each.entry.path: each.path for each in done if each.job == record.job}
    outputs = [
        entry.model_copy(update={"path": new[entry.path]}) if entry.path in new else entry
        for entry in record.outputs
    ]
    return with_outputs(record, outputs)


# --- files in the way of others


def in_the_way(record: JobRecord, moves: Iterable[Move], owners: Mapping[str, str]) -> list[Output]:
    """The files of a record that stay where they are until they are made again, though `owners`, the job that is to have each name
    (by its key), has theirs for other clips. `moves` are its own."""
    going = {each.entry.path for each in moves}
    return [
        entry
        for entry in record.outputs
        if entry.path not in going and owners.get(same_name(entry.path), record.job) != record.job
    ]


def give_way(out: Path, record: JobRecord, entries: Sequence[Output], *, keep: bool) -> JobRecord:
    """Put files by as revisions, or remove them, before another clip's take their names; gives the record without their outputs."""
    gone = {entry.output for entry in entries}
    said = []
    for entry in (e for e in record.outputs if e.output in gone):
        place = free_place(out, entry.path, entry.revision)
        try:
            if still_there(out, entry):
                if keep:
                    move(out, entry.path, place)
                else:
                    unlink_as(out, entry.path, size=entry.bytes, mtime_ns=entry.mtime_ns)
        except OSError as error:
            raise from_os(error, out / place) from None
        said.append(
            Replaced(
                output=entry.output,
                path=entry.path,
                revision=entry.revision,
                kept=kept_place(out, entry) if keep else "",
                hash=entry.hash,
                why="its name is another clip's now",
                bytes=entry.bytes,
                mtime_ns=entry.mtime_ns,
            )
        )
    left = with_outputs(record, [entry for entry in record.outputs if entry.output not in gone])
    why = f"{', '.join(sorted(gone))}: not made again yet since its name went to another clip's"
    update = {"replaced": [*record.replaced, *said], "revision": record.revision + 1, "error": why}
    return left.model_copy(update=update)
