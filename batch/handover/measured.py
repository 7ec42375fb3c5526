"""What the last `verify` found of the files of a delivery. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rushlight.batch.handover.what_changed import Piece
from rushlight.batch.records.handover import Lacking
from rushlight.batch.records.verdicts import CheckVerdict, Verdicts
from rushlight.batch.shown_time import shown_time
from rushlight.pipelines.counted import counted

__all__ = ["measured_note", "measured_wrong"]

Checks = Mapping[str, CheckVerdict]


def _found(pieces: Sequence[Piece], verdicts: Verdicts | None) -> list[tuple[Piece, Checks]]:
    """The checks of each file, as far as they are of the files as they are now; empty where it was not measured."""
    by_job = {each.job: each for each in verdicts.clips} if verdicts else {}
    found = []
    for piece in pieces:
        clip = by_job.get(piece.record.job)
        held = clip is not None and clip.made == piece.record.finished
        found.append((piece, clip.files.get(piece.entry.path, {}) if clip and held else {}))
    return found


def measured_wrong(pieces: Sequence[Piece], verdicts: Verdicts | None) -> list[Lacking]:
    """Files that the last `verify` failed: they are in the delivery, and not as they should be."""
    wrong = []
    for piece, checks in _found(pieces, verdicts):
        failed = [f"{name}: {check.text}" for name, check in checks.items() if check.verdict == "fail"]
        if failed:
            text = f"it is in the delivery, and verify failed it: {'; '.join(failed)}"
            wrong.append(Lacking(clip=piece.entry.path, state="measured wrong", text=text))
    return wrong


def measured_note(pieces: Sequence[Piece], verdicts: Verdicts | None) -> str:
    """How many files of the delivery were measured since they were made, in a sentence."""
    measured = [checks for _, checks in _found(pieces, verdicts) if checks]
    if not measured or not verdicts:
        return "its files were not measured (`rushlight verify`) since they were made"
    failed = sum(any(check.verdict == "fail" for check in checks.values()) for checks in measured)
    were = f"{len(measured)} {'was' if len(measured) == 1 else 'were'} measured since they were made (`rushlight verify`)"
    return f"of its {counted(len(pieces), 'file')}, {were}, last at {shown_time(verdicts.measured)}, and {failed} failed"
