"""One output folder: what it holds, what may go by policy, and that cleared, with its page made again."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from pathlib import Path

from rushlight.batch.cleared_log import CLEARED_LOG, cleared_before
from rushlight.batch.closed_delivery import closed_delivery
from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import read_log, refuse_newer
from rushlight.batch.records.handover import Handover
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.records.space import ClearedBefore, HandedOver, MayGo, SpaceFolder, SpacePolicy
from rushlight.batch.report.pages import write_report
from rushlight.batch.space.clear import cleared_of
from rushlight.batch.space.handed_over import Named, named_of
from rushlight.batch.space.kinds import Kinds
from rushlight.batch.space.may_go import Choice, choose
from rushlight.batch.space.survey import Found, Survey, disk_bytes, freed_bytes, survey
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.errors import OptionError, OutsideError
from rushlight.pipelines.inside_folder import stat_of

__all__ = ["FolderSpace", "Went", "clear_through", "look_after", "look_through"]


@dataclass(frozen=True, kw_only=True)
class FolderSpace:
    """A folder as it is told, and its files."""

    told: SpaceFolder
    files: tuple[Found, ...]
    going: tuple[Found, ...]  # those of them that may go
    clears: bool = False  # something may go, or the page does not tell of what went


@dataclass(frozen=True, kw_only=True)
class Went:
    """What was cleared of a folder, a sentence for each thing that was not, and what was cleared earlier."""

    gone: list[MayGo]
    left: list[str]
    before: list[ClearedBefore]


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """What was seen of a folder, at one moment."""

    found: Survey
    records: tuple[JobRecord, ...]
    delivery: Handover | None
    named: Named
    choice: Choice
    notes: tuple[str, ...]


def look_through(out: Path, policy: SpacePolicy, *, to_clear: bool = False) -> FolderSpace:
    """What a folder holds and what of it may go.

    OptionError where it is no output folder; where it is `to_clear`, and something may go, also where it is a newer version's.
    """
    seen, before = _seen(out, policy), cleared_before(out)
    clears = bool(seen.choice.may_go) or _page_is_behind(out)
    if to_clear and clears:
        refuse_newer(out, seen.records)
    return replace(_told(out, policy, seen, before), clears=clears)


def clear_through(out: Path, policy: SpacePolicy) -> Went:
    """Clear what may go of a folder that is held (`clear.held`), and make its page again. OptionError as above, ResourceError or
    DeliveryError where its disk is full or read-only."""
    seen, before = _seen(out, policy), cleared_before(out)
    refuse_newer(out, seen.records)
    gone, left = cleared_of(out, seen.choice.may_go, policy)
    try:
        write_report(out)
    except Exception as error:
        left.append(f"the page was not made again: {unexpected(out, 'making the report', error)}")
    return Went(gone=gone, left=left, before=before)


def look_after(out: Path, policy: SpacePolicy, went: Went) -> FolderSpace:
    """What a folder holds once it was cleared and let go."""
    return _told(out, policy, _seen(out, policy), went.before, went.gone, went.left)


def _page_is_behind(out: Path) -> bool:
    """True if something was cleared after the page was made: the command was killed in between."""
    try:
        made = (out / "report" / "index.html").stat().st_mtime_ns
        return made < stat_of(out, CLEARED_LOG).st_mtime_ns and closed_delivery(out) is None
    except (OSError, OutsideError):
        return False


def _seen(out: Path, policy: SpacePolicy) -> _Seen:
    if not out.is_dir():
        raise OptionError("is not a folder; give an output folder", file=str(out))
    delivery = closed_delivery(out)
    log = read_log(out)
    if not (log.records or log.refused or delivery):
        raise OptionError(
            "has no log/jobs.jsonl: nothing was rendered here, so nothing here is ours to count or clear",
            file=str(out),
        )
    found = survey(out)
    named = Named() if delivery else named_of(out)
    choice = Choice()
    if not (delivery or named.unread):
        choice = choose(
            found.files,
            log.records,
            policy,
            named=named.by_hash,
            placed=named.by_place,
            now=time.time(),
            there=lambda entry: still_there(out, entry),
        )
    notes = [*found.apart, *(f"{each.error}; what it names stays" for each in log.refused)]
    return _Seen(
        found=found,
        records=tuple(log.records),
        delivery=delivery,
        named=named,
        choice=choice,
        notes=tuple(notes),
    )


def _told(
    out: Path,
    policy: SpacePolicy,
    seen: _Seen,
    before: list[ClearedBefore],
    gone: list[MayGo] | None = None,
    left: list[str] | None = None,
) -> FolderSpace:
    files, may_go = seen.found.files, seen.choice.may_go
    going = _of(files, may_go)
    told = SpaceFolder(
        folder=str(out.resolve()),
        delivery=seen.delivery.folder if seen.delivery else "",
        policy=policy,
        holds=Kinds(seen.records, seen.delivery).holds(files),
        files=len(files),
        bytes=seen.found.bytes,
        disk=disk_bytes(files, set()),
        links=seen.found.links,
        may_go=list(may_go),
        freed=freed_bytes(going),
        stays=list(seen.choice.stays),
        cleared=gone or [],
        cleared_before=before,
        handed_over=[
            HandedOver(folder=each.folder, files=len(each.files), bytes=each.bytes)
            for each in seen.named.handovers
        ],
        unread=[*seen.found.unread, *seen.named.unread, *(left or [])],
        notes=list(seen.notes),
    )
    return FolderSpace(told=told, files=files, going=going)


def _of(files: tuple[Found, ...], going: tuple[MayGo, ...]) -> tuple[Found, ...]:
    """The files of what may go."""
    names = {each.path for each in going}
    return tuple(
        file
        for file in files
        if file.name in names
        or (file.name.startswith(".work/") and "/".join(file.name.split("/")[:2]) in names)
    )
