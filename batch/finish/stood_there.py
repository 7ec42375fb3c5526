"""Files that stood at the names of new ones though their clip's record did not count them: what is recorded and said of them.

They are found where they are kept, by what the log does not tell of there: a night that is killed after a file was kept, before its
record, says so the next time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from rushlight.batch.kept_revisions import places_of
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord, Replaced
from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.inside_folder import drop_empty, is_file, path_of, same_time, stat_of, unlink_as
from rushlight.pipelines.measure.checksum import file_hash

__all__ = ["Told", "stood_there", "with_stood"]


CHANGED = "it was not as its record has it"


class _Known(NamedTuple):
    """A file that the log knows: whose it is, and what tells it."""

    job: str
    clip: str
    bytes: int
    mtime_ns: int
    hash: str


class Told:
    """All that a log ever told of files: those that were delivered, by path, and those that are kept, by place."""

    def __init__(self, records: Iterable[JobRecord] = ()) -> None:
        self.kept: dict[str, list[Replaced]] = {}
        self._delivered: dict[str, set[_Known]] = {}
        for record in records:
            self.add(record)

    def add(self, record: JobRecord) -> None:
        for old in record.replaced:
            self.kept.setdefault(old.kept, []).append(old)
        for entry in record.outputs:
            known = _Known(record.job, record.clip, entry.bytes, entry.mtime_ns, entry.hash)
            self._delivered.setdefault(entry.path, set()).add(known)

    def known(self, old: Replaced, job: str) -> _Known | None:
        """The delivered file that one is, its own job's rather than another's; None of one that the log does not know."""
        same = [each for each in self._delivered.get(old.path, ()) if _same(old, each)]
        return min(same, key=lambda each: (each.job != job, each), default=None)


def with_stood(
    out: Path,
    record: DeliveredRecord,
    before: JobRecord | None,
    stood: Sequence[Replaced],
    told: Told,
    *,
    keep: bool,
) -> DeliveredRecord:
    """A new record with what stood at the names of its files, kept; without `keep` what `stood` there just now is removed, and said. Its
    revision is a later one than theirs."""
    if not stood:
        return record
    said = []
    for old in stood:
        known = told.known(old, record.job)
        update = {
            "hash": known.hash if known else _hash(out, old.kept),
            "why": _why(record, before, old, known),
        }
        if not keep and (_removed(out, old) or not is_file(out, old.kept)):
            update["kept"] = ""
        said.append(old.model_copy(update=update))
    counted = {(each.path, each.hash) for each in record.replaced}
    said = [each for each in said if (each.path, each.hash) not in counted]
    gone = {
        each.path for each in said if each.why == CHANGED
    }  # what it was by its record is not there to be kept
    why = {each.path: f"{each.why}; {CHANGED}" for each in record.replaced if each.path in gone}
    said = [e.model_copy(update={"why": why[e.path]}) if e.path in why else e for e in said]
    told_before = [each for each in record.replaced if each.kept or each.path not in gone]
    number = max([record.revision, *(each.revision + 1 for each in said)])
    outputs = [entry.model_copy(update={"revision": number}) for entry in record.outputs]
    replaced = [*told_before, *said]
    return record.model_copy(update={"revision": number, "outputs": outputs, "replaced": replaced})


def stood_there(out: Path, made: DeliveredRecord, record: DeliveredRecord, told: Told) -> list[Replaced]:
    """The files kept of the names of a record's outputs that neither it nor the log tells of. `made`: as its finish gave it, with what
    stood there then."""
    ours = Told([record])
    found = []
    for entry in made.outputs:
        for number, place in places_of(out, entry.path):
            with suppress(OSError, OutsideError):
                info = stat_of(out, place)
                each = Replaced(
                    output=entry.output,
                    path=entry.path,
                    revision=number,
                    kept=place,
                    why="",
                    bytes=info.st_size,
                    mtime_ns=max(0, info.st_mtime_ns),
                )
                if not any(
                    _same(each, other) for other in (*told.kept.get(place, ()), *ours.kept.get(place, ()))
                ):
                    found.append(each)
    return found


def _same(old: Replaced, told: Replaced | _Known) -> bool:
    """True if a file is the one that is told of; of what is kept older versions told no size."""
    if not told.bytes and not told.mtime_ns:
        return True
    return told.bytes == old.bytes and same_time(told.mtime_ns, old.mtime_ns)


def _why(record: JobRecord, before: JobRecord | None, old: Replaced, known: _Known | None) -> str:
    """How a file came to stand there, in words."""
    if known and known.job != record.job:
        return f"it was made of {known.clip}, by another job"
    counted = [entry for entry in before.outputs if entry.path == old.path] if before else []
    if known and any(entry.hash == known.hash for entry in counted):
        return "made again, it came out with other bytes"
    if known:
        return "its clip's record counted it no longer"
    return CHANGED if counted else "no record tells of it"


def _hash(out: Path, place: str) -> str:
    try:
        return file_hash(path_of(out, place))
    except (OSError, OutsideError):
        return ""


def _removed(out: Path, old: Replaced) -> bool:
    with suppress(OSError, OutsideError):
        gone = unlink_as(out, old.kept, size=old.bytes, mtime_ns=old.mtime_ns)
        drop_empty(out, old.kept, keep=0)
        return gone
    return False
