"""`rushlight handover`: a delivery of an output folder closed for whoever gets it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.api.cancel import Cancel, reading
from rushlight.batch.api.requests import Place, output_folders, texts_of
from rushlight.batch.exit_codes import DONE, PARTLY
from rushlight.batch.handover.hand_over import Asked, Closed, Progress, hand_over
from rushlight.batch.handover.handover_log import read_handovers
from rushlight.batch.records.handover import Gone, Handover, HandoverFile, Lacking
from rushlight.batch.records.shape import Plain
from rushlight.pipelines.errors import OptionError

__all__ = ["Gone", "HandoverFile", "HandoverProgress", "HandoverResult", "Lacking", "handover", "handovers"]

HandoverProgress = Progress


@dataclass(frozen=True, kw_only=True)
class HandoverResult:
    """A closed delivery. `folder` is None where nothing has changed since `last`, and nothing was made."""

    folder: Path | None  # absolute
    number: int  # in its name; 0 without a folder
    last: str  # folder of the delivery of this name before; empty for the first
    files: tuple[HandoverFile, ...]  # of its outputs
    gone: tuple[Gone, ...]  # handed over before, and no more to be used
    missing: tuple[Lacking, ...]  # what was asked for and is not in it
    notes: tuple[str, ...]
    handover: Handover | None  # all that its `handover.json` says

    @property
    def code(self) -> int:
        """The command's exit code: 1 where something is missing."""
        return PARTLY if self.missing else DONE

    @property
    def letter(self) -> Path | None:
        return self.folder / "letter.txt" if self.folder else None

    @property
    def page(self) -> Path | None:
        return self.folder / "index.html" if self.folder else None

    def document(self) -> Plain:
        """The document that the command prints with `--json`."""
        where = str(self.folder) if self.folder else None
        if self.handover is None:
            missing = [each.plain() for each in self.missing]
            return {
                "place": where,
                "handover": None,
                "last": self.last,
                "missing": missing,
                "notes": [*self.notes],
            }
        return {"place": where, "handover": self.handover.plain(), "last": self.last}


def handover(
    dir: Place,
    *,
    name: str,
    to: Place | None = None,
    outputs: str | Sequence[str] = (),
    all: bool = False,
    copy: bool = False,
    no_record: bool = False,
    cancel: Cancel | None = None,
    on_progress: Callable[[HandoverProgress], None] = lambda progress: None,
) -> HandoverResult:
    """Close a delivery of an output folder (of a day, if it has one recipe): the files of `outputs` (all if none is named), linked
    or copied into a numbered folder `NAME_NNN` in `to` (beside the output folder if None), with tables, grades, record, letter, page and
    hash manifest.

    `name`: whoever gets it; a later delivery of the name holds what changed since the one before, or `all`. `copy`: link none.
    `no_record`: leave out what `--from` and `verify` need. Files that are not as they were made are left out and are `missing`.
    OptionError where something is wrong with what was asked, QueueError where the folder is being rendered into, ResourceError
    where there is no room, CancelledError where it was cancelled; then nothing is left behind.
    """
    folders = output_folders(dir)
    if len(folders) > 1:
        names = ", ".join(str(folder) for folder in folders)
        raise OptionError(f"has several output folders: hand over each by itself ({names})", file=str(dir))
    asked = Asked(
        out=folders[0],
        name=name,
        to=None if to is None else Path(to),
        outputs=texts_of(outputs),
        whole=all,
        copy=copy,
        with_record=not no_record,
    )
    with reading(cancel, "the delivery was closed"):
        return _result(hand_over(asked, on_progress))


def handovers(dir: Place) -> tuple[Handover, ...]:
    """The deliveries that were closed of an output folder, or of all of a day's, in order of each folder; lines of the log that do not read
    are left out. OptionError where there is no such folder."""
    found: list[Handover] = []
    for folder in output_folders(dir):
        if not folder.is_dir():
            raise OptionError("is not a folder; give an output folder", file=str(folder))
        found += read_handovers(folder)[0]
    return tuple(found)


def _result(closed: Closed) -> HandoverResult:
    found = closed.handover
    return HandoverResult(
        folder=closed.folder,
        number=found.number if found else 0,
        last=closed.last,
        files=tuple(found.files) if found else (),
        gone=tuple(found.gone) if found else (),
        missing=closed.missing,
        notes=closed.notes,
        handover=found,
    )
