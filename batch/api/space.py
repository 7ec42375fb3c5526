"""`rushlight space`: what output folders hold, what of it may go by policy, and that cleared where it is asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.api.cancel import Cancel, reading
from rushlight.batch.api.requests import Place, day_of, output_folders, paths_of
from rushlight.batch.exit_codes import DONE, PARTLY
from rushlight.batch.records.shape import Plain
from rushlight.batch.records.space import (
    SPACE,
    Holds,
    MayGo,
    SpaceDocument,
    SpaceFolder,
    SpacePolicy,
    Stays,
)
from rushlight.batch.space.clear import held
from rushlight.batch.space.folder_space import FolderSpace, Went, clear_through, look_after, look_through
from rushlight.batch.space.survey import disk_bytes, freed_bytes
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OptionError, RushlightError
from rushlight.pipelines.recipe.space_settings import Space

__all__ = ["Holds", "MayGo", "SpaceFolder", "SpaceResult", "Stays", "space"]

MOST = 1_000_000  # revisions or days; a clip has no more of the first


@dataclass(frozen=True, kw_only=True)
class SpaceResult:
    """What folders hold, in the order in which they were given; sizes in bytes."""

    folders: tuple[SpaceFolder, ...]
    disk: int  # on the disk: a file with names in several folders counts once
    freed: int  # on the disk, where all that may go is cleared: of files that have no other name then

    @property
    def files(self) -> int:
        return sum(folder.files for folder in self.folders)

    @property
    def bytes(self) -> int:
        return sum(folder.bytes for folder in self.folders)

    @property
    def may_go(self) -> tuple[MayGo, ...]:
        return tuple(each for folder in self.folders for each in folder.may_go)

    @property
    def cleared(self) -> tuple[MayGo, ...]:
        return tuple(each for folder in self.folders for each in folder.cleared)

    @property
    def code(self) -> int:
        """The command's exit code: 1 where something could not be read or cleared."""
        return PARTLY if any(folder.unread for folder in self.folders) else DONE

    def document(self) -> Plain:
        """The document that the command prints with `--json`."""
        return SpaceDocument(
            schema=SPACE, folders=list(self.folders), files=self.files, bytes=self.bytes, disk=self.disk
        ).plain()


def space(
    dirs: Place | Sequence[Place],
    *,
    keep_revisions: int | None = None,
    older_than: int | None = None,
    remove: bool = False,
    cancel: Cancel | None = None,
) -> SpaceResult:
    """What output folders (of a day, all of its own) hold by kind, to the byte, and what may go: superseded revisions beyond the
    `keep_revisions` newest of each clip and output, replaced more than `older_than` days ago; with `older_than` also what clips that were
    finished so long ago left in `.work`.

    None stands for what `[space]` of a day says, else 2 revisions and any age. Nothing changes without `remove`. Never to go: current files,
    what a closed delivery names, what the log does not know, anything outside. OptionError where one of them is no output
    folder or, with `remove`, a newer version's, and QueueError where a night runs in one: before anything is cleared. ResourceError or
    DeliveryError where a disk is full or read-only; it says what was cleared of folders before that one.
    """
    asked = [pair for place in paths_of(dirs) for pair in _asked(place, keep_revisions, older_than)]
    _refuse_twice([folder for folder, _ in asked])
    with reading(cancel, "all was looked through"):  # a wrong one ends it before anything goes
        found = [look_through(folder, policy, to_clear=remove) for folder, policy in asked]
    if remove:
        with reading(cancel, "all was cleared; log/cleared.jsonl of each folder says what went"):
            found = _cleared(asked, found)
    known: set[tuple[int, int]] = set()
    disk = sum(disk_bytes(each.files, known) for each in found)
    freed = freed_bytes(file for each in found for file in each.going)
    return SpaceResult(folders=tuple(each.told for each in found), disk=disk, freed=freed)


def _cleared(asked: Sequence[tuple[Path, SpacePolicy]], looked: Sequence[FolderSpace]) -> list[FolderSpace]:
    """Folders cleared, once all in which something may go are held: one that is rendered into costs the others nothing either."""
    went: dict[Path, Went] = {}
    pairs = [pair for pair, seen in zip(asked, looked, strict=True) if seen.clears]
    with ExitStack() as held_ones:
        for folder, _ in pairs:
            held_ones.enter_context(held(folder))
        for folder, policy in pairs:
            try:
                went[folder] = clear_through(folder, policy)
            except RushlightError as error:
                raise _with_those_before(error, went) from None
    return [
        look_after(folder, policy, went[folder]) if folder in went else seen
        for (folder, policy), seen in zip(asked, looked, strict=True)
    ]


def _with_those_before(error: RushlightError, went: Mapping[Path, Went]) -> RushlightError:
    """An error with what was cleared of other folders before it."""
    gone = [f"{counted(len(each.gone), 'thing')} of {folder}" for folder, each in went.items() if each.gone]
    text = f"{error.text}. Cleared before it: {', '.join(gone)}" if gone else error.text
    return type(error)(text, file=error.file)


def _refuse_twice(folders: Sequence[Path]) -> None:
    """OptionError where a folder would be counted twice."""
    if not folders:
        raise OptionError("takes at least one output folder, or a day", key="DIR")
    seen: set[Path] = set()
    for folder in folders:
        if folder.resolve() in seen:
            raise OptionError("is given twice, and would be counted twice", file=str(folder))
        seen.add(folder.resolve())
    for folder in folders:
        if inside := next((above for above in folder.resolve().parents if above in seen), None):
            raise OptionError(
                f"lies inside {inside}, which is given too: it would be counted twice", file=str(folder)
            )


def _asked(place: Path, keep: int | None, days: int | None) -> list[tuple[Path, SpacePolicy]]:
    """The folders of a place, each with its policy. OptionError for numbers that are none."""
    for key, value, least in (("--keep-revisions", keep, 0), ("--older-than", days, 1)):
        if value is not None and (type(value) is not int or not least <= value <= MOST):
            raise OptionError(f"takes a whole number from {least} to {MOST:,}, and not {value!r}", key=key)
    day = day_of(place)
    said = day.document.space if day else Space()
    policy = SpacePolicy(
        keep_revisions=said.keep_revisions if keep is None else keep,
        older_than=said.older_than if days is None else days,
    )
    return [(folder, policy) for folder in output_folders(place)]
