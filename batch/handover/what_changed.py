"""What a delivery is to hold: the files of the chosen outputs, against what was handed over before under its name. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from rushlight.batch.records.files import Output
from rushlight.batch.records.handover import Gone, HandoverFile, Since
from rushlight.batch.records.job_record import JobRecord

__all__ = ["Compared", "Piece", "compared", "output_names"]


_ENDS = {
    "failed": "its clip failed",
    "set aside": "its clip is set aside",
    "withdrawn": "its clip was withdrawn",
}


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A file of the output folder, the record that it is of, and what it is against what was handed over before."""

    record: JobRecord
    entry: Output
    since: Since
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class Compared:
    """All files of the chosen outputs in the record's order, and those handed over before that hold no more."""

    pieces: tuple[Piece, ...]
    gone: tuple[Gone, ...]

    def to_bring(self, *, whole: bool) -> tuple[Piece, ...]:
        """The files that the delivery holds: all, or those that are not as they were handed over."""
        return tuple(piece for piece in self.pieces if whole or piece.since != "unchanged")


def output_names(records: Iterable[JobRecord]) -> list[str]:
    """The outputs that records have files of, in order of first mention."""
    return list(dict.fromkeys(entry.output for record in records for entry in record.outputs))


def compared(
    latest: Mapping[str, JobRecord],
    log: Iterable[JobRecord],
    outputs: Sequence[str],
    before: Mapping[str, HandoverFile] | None,
) -> Compared:
    """The files of `outputs` against those handed over `before` by path; None where nothing was. `log` has all records in order,
    `latest` the one that holds of each job."""
    history: dict[str, list[JobRecord]] = {}
    for record in log:
        history.setdefault(record.job, []).append(record)
    known = before or {}
    places = {(file.job, file.output, file.hash): file.path for file in known.values()}
    pieces = []
    for record in latest.values():
        for entry in record.outputs:
            if entry.output in outputs:
                since, why = _since(entry, record, known, places, history.get(record.job, ()))
                since = "first" if before is None else since
                pieces.append(Piece(record=record, entry=entry, since=since, why=why))
    return Compared(pieces=tuple(pieces), gone=tuple(_gone(pieces, latest, outputs, known)))


def _since(
    entry: Output,
    record: JobRecord,
    known: Mapping[str, HandoverFile],
    places: Mapping[tuple[str, str, str], str],
    history: Sequence[JobRecord],
) -> tuple[Since, str]:
    old = known.get(entry.path)
    if old and old.hash == entry.hash:
        return "unchanged", ""
    if not old and (place := places.get((record.job, entry.output, entry.hash))):
        return "renamed", f"was {place}"
    same = [f for f in known.values() if (f.job, f.output) == (record.job, entry.output)]
    older = old or (same[0] if len(same) == 1 else None)  # of several stills none is told by its job
    if not older:
        return "new", ""
    return "changed", _why(older, history)


def _why(old: HandoverFile, history: Iterable[JobRecord]) -> str:
    """Why a file that was handed over was replaced since, by the clip's revisions; of several each reason once, in order."""
    told = [
        replaced.why
        for record in history
        for replaced in record.replaced
        if replaced.output == old.output and replaced.revision >= old.revision and replaced.why
    ]
    return "; then ".join(dict.fromkeys(told)) or "made again; the record has no revision that says why"


def _gone(
    pieces: Sequence[Piece],
    latest: Mapping[str, JobRecord],
    outputs: Sequence[str],
    known: Mapping[str, HandoverFile],
) -> Iterable[Gone]:
    there = {piece.entry.path for piece in pieces}
    for old in known.values():
        if old.output not in outputs or old.path in there:
            continue
        own = [p.entry for p in pieces if (p.record.job, p.entry.output) == (old.job, old.output)]
        same = next((entry.path for entry in own if entry.hash == old.hash), "")
        if same:
            why = f"it has another name now: {same}"
        elif own:
            why = f"in its place: {', '.join(entry.path for entry in own[:4])}"
        else:
            record = latest.get(old.job)
            why = _ENDS.get(record.status if record else "", "nothing makes it any more")
        yield Gone(path=old.path, clip=old.clip, hash=old.hash, why=why)
