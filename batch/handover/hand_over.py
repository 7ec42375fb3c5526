"""A delivery closed: its files brought and hashed, what belongs to them written, the manifest last, and only then its name.

The output folder is held by its lock all the while, so that no night changes it; nothing in it is changed but a line of
`log/handovers.jsonl`. Killed at any moment, there is either a whole delivery or none: the same command again goes on from there.
"""

from __future__ import annotations

import os
import platform
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from rushlight.batch.closed_delivery import CLOSED, refuse_closed
from rushlight.batch.disks import free_bytes, size_text
from rushlight.batch.handover import place
from rushlight.batch.handover.beside_the_outputs import (
    cut_records,
    write_grades,
    write_pictures,
    write_record,
    write_tables,
)
from rushlight.batch.handover.bring import Damaged, bring, hash_of
from rushlight.batch.handover.handover_log import (
    add_handover,
    handed_over,
    of_name,
    origin_of,
    read_handovers,
)
from rushlight.batch.handover.letter import letter_text
from rushlight.batch.handover.measured import measured_note, measured_wrong
from rushlight.batch.handover.page import handover_page
from rushlight.batch.handover.what_changed import Compared, Piece, compared, output_names
from rushlight.batch.handover.what_is_missing import lacking, sayings
from rushlight.batch.job_log import Log, latest, newer_text, read_log
from rushlight.batch.plan.request_ledger import Day, day_of, read_askings
from rushlight.batch.queue.locks import folder_held
from rushlight.batch.records.handover import HANDOVER, Handover, HandoverFile, Lacking
from rushlight.batch.report.kept_results import kept_verdicts
from rushlight.batch.report.mhl_manifest import ManifestFile, write_manifest
from rushlight.pipelines.errors import DeliveryError, OptionError, ResourceError, from_os
from rushlight.pipelines.inside_folder import stat_of, write
from rushlight.pipelines.visible_text import json_text

__all__ = ["Asked", "Closed", "Progress", "hand_over"]

LETTER, PAGE = "letter.txt", "index.html"


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A delivery as it is asked for."""

    out: Path
    name: str
    to: Path | None = None  # the folder that it is put in; beside `out` if None
    outputs: tuple[str, ...] = ()  # all if empty
    whole: bool = False  # all files, also those that are as they were handed over before
    copy: bool = False  # link none
    with_record: bool = True


@dataclass(frozen=True, kw_only=True)
class Progress:
    """How far a delivery is: the file in hand, bytes read, and the bytes of all its files."""

    path: str
    done: int
    bytes: int


@dataclass(frozen=True, kw_only=True)
class Closed:
    """A delivery that was closed, and its folder; or, where nothing has changed since the last one, what is missing all the same."""

    folder: Path | None
    handover: Handover | None
    last: str  # folder of the delivery before; empty where there is none
    missing: tuple[Lacking, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Contents:
    """What the output folder has to hand over, and what it lacks."""

    log: Log
    day: Day
    outputs: tuple[str, ...]
    before: tuple[Handover, ...]
    compared: Compared
    missing: tuple[Lacking, ...]
    notes: tuple[str, ...]
    title: str


def hand_over(asked: Asked, on_progress: Callable[[Progress], None] = lambda progress: None) -> Closed:
    """Close a delivery of an output folder.

    OptionError where the folder has nothing, or a name, an output or a place is wrong; QueueError where it is being rendered into;
    ResourceError where there is no room; DeliveryError where a disk does not give back what was written.
    """
    out, name = asked.out, place.checked_name(asked.name)
    if not out.is_dir():
        raise OptionError("is not a folder; give an output folder", file=str(out))
    refuse_closed(out, "hand over from the output folder that it was made of")
    log = read_log(out)
    if not log.records and not log.refused:
        raise OptionError("has no log/jobs.jsonl: nothing was rendered here", file=str(out))
    if text := newer_text(log.records):  # what it made would be lacking, and nobody would know
        raise OptionError(f"{text}. Close the delivery with the newer one", file=str(out))
    to = place.checked_place(out, asked.to or out.resolve().parent)
    with _held(out):
        contents = _contents(asked, to)
        pieces = contents.compared.to_bring(whole=asked.whole)
        last = contents.before[-1].folder if contents.before else ""
        if contents.before and not pieces and not contents.compared.gone:
            return Closed(
                folder=None, handover=None, last=last, missing=contents.missing, notes=contents.notes
            )
        if not pieces and not contents.compared.gone:
            raise OptionError(_nothing(contents), file=str(out))
        handover, folder = _closed(asked, to, name, contents, pieces, on_progress)
        unsaid = _written_down(out, handover)
    return Closed(
        folder=folder,
        handover=handover,
        last=last,
        missing=tuple(handover.missing),
        notes=(*handover.notes, *unsaid),
    )


@contextmanager
def _held(out: Path) -> Iterator[None]:
    """Hold an output folder as its one runner does. One in which no lock can be made is not held: its disk is read-only or full, so that
    nobody who has none renders into it either."""
    with ExitStack() as stack:
        try:
            stack.enter_context(folder_held(out, "closing a delivery of it"))
        except (ResourceError, DeliveryError):
            read_only = os.statvfs(out).f_flag & os.ST_RDONLY
            if os.path.lexists(out / ".work" / "runner") and not read_only:
                raise
        yield


def _written_down(out: Path, handover: Handover) -> tuple[str, ...]:
    """Add a delivery, which is whole by now, to the folder's log; gives a sentence where that cannot be."""
    try:
        add_handover(out, handover)
    except (ResourceError, DeliveryError) as error:
        text = f"{error}: this delivery could not be written down there; the next one knows of it only if it is put beside it"
        return (text,)
    return ()


def _nothing(contents: _Contents) -> str:
    text = f"has no file of {', '.join(contents.outputs) or 'any output'} to hand over"
    return f"{text}; {len(contents.missing)} of its clips are missing" if contents.missing else text


def _contents(asked: Asked, to: Path) -> _Contents:
    """What is to be handed over, once the folder is held."""
    out, log = asked.out, read_log(asked.out)
    known = latest(log.records)
    handovers, faults = read_handovers(out)
    for each in place.unknown_in(to, asked.name, origin_of(out), {h.folder for h in handovers}):
        _written_down(out, each)
        handovers.append(each)
    before = tuple(of_name(handovers, asked.name))
    held = handed_over(before) if before else None
    outputs = _outputs(
        asked, [*output_names(known.values()), *(file.output for file in (held or {}).values())]
    )
    askings, unread = read_askings(out)
    day = day_of(askings, known)
    return _Contents(
        log=log,
        day=day,
        outputs=outputs,
        before=before,
        compared=compared(known, log.records, outputs, held),
        missing=tuple(lacking(day, known, log.refused, outputs)),
        notes=(*sayings(day), *unread, *faults),
        title=day.title.text,
    )


def _outputs(asked: Asked, there: Sequence[str]) -> tuple[str, ...]:
    """The outputs that were chosen, or all that are delivered or were handed over before."""
    names = tuple(dict.fromkeys(there))
    if odd := [name for name in asked.outputs if name not in names]:
        raise OptionError(
            f"no file of {', '.join(map(repr, odd))} is delivered; there are {', '.join(names) or 'none'}",
            file=str(asked.out),
            key="--outputs",
        )
    return asked.outputs or names


# --- one delivery


def _closed(
    asked: Asked,
    to: Path,
    name: str,
    contents: _Contents,
    pieces: Sequence[Piece],
    on_progress: Callable[[Progress], None],
) -> tuple[Handover, Path]:
    least = max((each.number for each in contents.before), default=0) + 1
    link = not asked.copy and _one_disk(asked.out, to)
    keep = () if link else {piece.entry.path for piece in pieces}
    with place.opened(to, name, least, keep) as opening:
        part, out = opening.part, asked.out
        if not link:
            _refuse_without_room(part, pieces)
        brought, files, damaged = _brought(out, part, pieces, link, on_progress)
        if not brought and not contents.compared.gone:
            missing = "; ".join(f"{each.clip}: {each.text}" for each in damaged[:3])
            raise OptionError(f"has no file that is as it was made: {missing}", file=str(out))
        size = sum(file.bytes for file in files)
        on_progress(Progress(path="its tables, grades and record", done=size, bytes=size))
        place.drop_empty(part)
        records, title = cut_records(brought), contents.title or out.resolve().name
        write_tables(part, records, contents.day.title)
        measured = kept_verdicts(out)
        notes = [*contents.notes, measured_note(brought, measured), *write_grades(out, part, records, title)]
        pictures = write_pictures(out, part, brought)
        if asked.with_record:
            notes += write_record(out, part, records)
        handover = Handover(
            schema=HANDOVER,
            name=name,
            number=opening.number,
            folder=opening.folder.name,
            closed=datetime.now(UTC).isoformat(timespec="seconds"),
            title=contents.title,
            origin=origin_of(out),
            made_by=version("rushlight"),
            holds="all" if asked.whole or not contents.before else "changes",
            after=contents.before[-1].folder if contents.before else "",
            outputs=list(contents.outputs),
            with_record=asked.with_record,
            missing=[*damaged, *measured_wrong(brought, measured), *contents.missing],
            files=files,
            unchanged=len(contents.compared.pieces) - len(pieces),
            gone=list(contents.compared.gone),
            others=sorted(_names_in(part) - {file.path for file in files}),
            notes=notes,
        )
        _sealed(part, handover, brought, pictures)
        place.close(opening)
    return handover, opening.folder


def _one_disk(out: Path, to: Path) -> bool:
    """True if files of one may have a second name in the other, as far as can be told ahead."""
    there = to
    while not there.exists():
        there = there.parent
    return out.stat().st_dev == there.stat().st_dev


def _refuse_without_room(part: Path, pieces: Sequence[Piece]) -> None:
    """ResourceError where what is still to be copied does not fit."""
    left = {name: (part / name).stat().st_size for name in _names_in(part)}
    needed = sum(max(0, piece.entry.bytes - left.get(piece.entry.path, 0)) for piece in pieces)
    free = free_bytes(part)
    if needed > free:
        text = f"has {size_text(free)} free, and the files to be copied are {size_text(needed)}; nothing was copied"
        raise ResourceError(text, file=str(part.parent))


def _brought(
    out: Path, part: Path, pieces: Sequence[Piece], link: bool, on_progress: Callable[[Progress], None]
) -> tuple[list[Piece], list[HandoverFile], list[Lacking]]:
    """Bring files into the delivery: those that are there now, as its record has them, and those that are not as they were made."""
    brought, files, damaged = list[Piece](), list[HandoverFile](), list[Lacking]()
    whole, done = sum(piece.entry.bytes for piece in pieces), 0
    for piece in pieces:
        entry = piece.entry

        def tell(count: int, path: str = entry.path) -> None:
            nonlocal done
            done += count
            on_progress(Progress(path=path, done=done, bytes=whole))

        try:
            how = bring(out, entry.path, part, digest=entry.hash, link=link, on_bytes=tell)
        except Damaged as fault:
            text = f"{piece.record.clip}: it {fault}; render the list again, which makes it anew"
            damaged.append(Lacking(clip=entry.path, state="damaged", text=text))
            continue
        brought.append(piece)
        files.append(
            HandoverFile(
                path=entry.path,
                output=entry.output,
                job=piece.record.job,
                clip=piece.record.clip,
                bytes=entry.bytes,
                hash=entry.hash,
                revision=entry.revision,
                since=piece.since,
                why=piece.why,
                brought=how,
            )
        )
    return brought, files, damaged


def _names_in(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def _sealed(part: Path, handover: Handover, pieces: Sequence[Piece], pictures: Mapping[str, str]) -> None:
    """Letter, page with `pictures` by job, and `handover.json`; and over all files the manifest."""
    pages = {
        CLOSED: json_text(handover.plain(), indent=1) + "\n",
        LETTER: letter_text(handover, pieces),
        PAGE: handover_page(handover, pieces, pictures),
    }
    hashes = {file.path: file.hash for file in handover.files}
    try:
        for name, text in pages.items():
            write(part, name, text.encode("utf-8", "replace"), sync=True)
        files = [_listed(part, name, hashes.get(name, "")) for name in sorted(_names_in(part))]
        write_manifest(
            part,
            files,
            when=datetime.fromisoformat(handover.closed),
            host=platform.node(),
            version=handover.made_by,
            retired="log/manifests",
            name=handover.folder,
        )
    except OSError as error:
        raise from_os(error, part) from None


def _listed(part: Path, name: str, digest: str) -> ManifestFile:
    """A file as the manifest lists it, by the hash of what is there: that of an output's file was taken when it was brought."""
    info = stat_of(part, name)
    found = digest or hash_of(part, name)
    return ManifestFile(
        path=name, size=info.st_size, mtime_ns=info.st_mtime_ns, xxh128=found.partition(":")[2]
    )
