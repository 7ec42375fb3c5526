"""The letter of a delivery in plain words: what is missing, what is in it, what changed and why, how to check it. Pure.

The same sections stand in `letter.txt` and on the page. What is missing comes first.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from rushlight.batch.disks import size_text
from rushlight.batch.handover.what_changed import Piece
from rushlight.batch.records.files import DeliveredMovie, Output
from rushlight.batch.records.handover import Handover, HandoverFile, Since
from rushlight.batch.report.code_words import in_quotes
from rushlight.batch.report.made_with import made_by
from rushlight.batch.shown_time import shown_time
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.visible_text import visible

__all__ = ["CAUTION", "Section", "heading", "letter_text", "sections"]

CAUTION = (
    "This delivery is no backup. Its manifest proves that a copy is equal to what was handed over, and nothing more: not that the"
    " originals were copied whole, and not that anybody approved a colour. Keep to the production's own procedures for copies and"
    " approval."
)
LINKED = (
    "In the folder where it was closed {count} {are} not copied but linked: a second name of the file in the output folder, on the same"
    " disk. To change one there changes it in both, so change none; and a disk that breaks takes both. A copy of the folder on another"
    " disk is free of that: send such a one."
)
WIDTH = 96  # characters of a line of the letter; names and paths stay whole
MANY = 6  # clips, or files of one clip, that are named for one reason
TOGETHER: Mapping[Since, str] = {
    "changed": "Changed",
    "new": "New",
    "renamed": "Under another name, and otherwise the same",
}


@dataclass(frozen=True, kw_only=True)
class Section:
    """A part of the letter: sentences, then things with what is to be said of each."""

    title: str
    sentences: tuple[str, ...] = ()
    things: tuple[tuple[str, str], ...] = ()
    bad: bool = False


def heading(handover: Handover) -> str:
    """The delivery in one line."""
    title = f"{handover.title}: " if handover.title else ""
    return f"{title}delivery {handover.folder}, closed {shown_time(handover.closed)}"


def sections(handover: Handover, pieces: Sequence[Piece]) -> list[Section]:
    """All parts of the letter, in order. `pieces` are the files that the delivery holds."""
    found = [_missing(handover), _inside(handover, pieces)]
    if handover.after:
        found += _changes(handover)
    found += [
        _notes(handover),
        _of_clips(pieces),
        _check(handover),
        _made_with(handover, pieces),
        Section(title="What it is not", sentences=(CAUTION,)),
    ]
    return [section for section in found if section.sentences or section.things]


def letter_text(handover: Handover, pieces: Sequence[Piece]) -> str:
    """The letter as plain text."""
    lines = [visible(heading(handover))]
    for section in sections(handover, pieces):
        lines += ["", section.title.upper()]
        for sentence in section.sentences:
            lines += _wrapped(sentence, "", "")
        for head, text in section.things:
            lines += _wrapped(f"{head}{f': {text}' if text else ''}", "  ", "    ")
    return "".join(f"{line}\n" for line in lines)


def _wrapped(text: str, first: str, further: str) -> list[str]:
    return textwrap.wrap(
        in_quotes(visible(text)),
        WIDTH,
        initial_indent=first,
        subsequent_indent=further,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _missing(handover: Handover) -> Section:
    if not handover.missing:
        return Section(title="Missing", sentences=("Nothing: every clip that was asked for is delivered.",))
    count = counted(len(handover.missing), "thing")
    return Section(
        title=f"Missing: {count}",
        sentences=("What follows was asked for and is not in this delivery, or not as it should be.",),
        things=tuple(
            (each.clip, ": ".join(p for p in (each.state, each.text) if p)) for each in handover.missing
        ),
        bad=True,
    )


def _inside(handover: Handover, pieces: Sequence[Piece]) -> Section:
    files, clips = len(handover.files), len({file.job for file in handover.files})
    size = size_text(handover.bytes)
    if handover.holds == "changes":
        since = f"Only what is new or changed since {handover.after}"
        text = f"{since}: {counted(files, 'file')} of {counted(clips, 'clip')}, {size}."
        text += f" {counted(handover.unchanged, 'file')} did not change, and {_are(handover.unchanged)} not in it."
    else:
        text = f"{counted(files, 'file')} of {counted(clips, 'clip')}, {size}."
    outputs = [
        (f"{name}", _described([p.entry for p in pieces if p.entry.output == name]))
        for name in handover.outputs
    ]
    others = Counter(kind for path in handover.others if (kind := _kind(path)))
    beside = [(head, f"{counted(count, 'file')}: {what}") for (head, what), count in others.items()]
    linked = sum(file.brought == "linked" for file in handover.files)
    said = [text, *([LINKED.format(count=counted(linked, "file"), are=_are(linked))] if linked else [])]
    return Section(title="What is in it", sentences=tuple(said), things=(*outputs, *beside))


def _made_with(handover: Handover, pieces: Sequence[Piece]) -> Section:
    """The versions that made it, and how to learn in a year what those of then would make otherwise."""
    made = made_by({piece.record.job: piece.record for piece in pieces}.values())
    said = [f"{counted(len(each.clips), 'clip')}: {each.text()}." for each in made]
    if made and any(path.startswith("log/") for path in handover.others):
        said.append(
            "With the originals and this folder any of it can be made again: `rushlight plan --from` this folder `--media` the"
            " originals says which versions differ by then and what that may change, and `rushlight render` in place of"
            " `plan`, with `--out` another folder, says of each clip whether its colour is the same."
        )
    return Section(title="Made with", sentences=tuple(said))


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _kind(path: str) -> tuple[str, str] | None:
    """What a file beside the outputs is, for people, and where; None for the letter and the page themselves."""
    top, _, rest = path.partition("/")
    if path.endswith(("clips.csv", "clips.otio")):
        return "clips.csv, clips.otio", "clip tables for the editor, beside the movies"
    if top == "log":
        what = "the record, with list, recipe, grades and LUTs as they were, to make any of it again from the originals"
        return top, what
    if top.startswith("pictures"):
        return top, "small stills for the page, to find a clip by and not to judge colour by"
    return (top, "the grades of these clips and their LUTs, for other tools") if rest else None


def _described(entries: Sequence[Output]) -> str:
    """An output's files here in one line."""
    if not entries:
        return "no file in this delivery"
    kinds = dict.fromkeys(_form(entry) for entry in entries)
    word = "movie" if isinstance(entries[0], DeliveredMovie) else "still"
    return f"{counted(len(entries), word)}, {size_text(sum(e.bytes for e in entries))}: {'; '.join(kinds)}"


def _form(entry: Output) -> str:
    raster = f"{entry.width}x{entry.height}"
    state = {"log": "the camera's log, no look", "show": "the show transform alone", "graded": "graded"}[
        entry.state
    ]
    display = f" for {entry.display}" if entry.display else ""
    display += f", look {entry.look}" if entry.look else ""
    if isinstance(entry, DeliveredMovie):
        container = f" in {entry.container}" if entry.container else ""
        return f"{entry.codec}{container} {raster}, {state}{display}"
    return f"{entry.still_kind} {raster}, {state}{display}"


def _changes(handover: Handover) -> list[Section]:
    found = []
    for since, title in TOGETHER.items():
        files = [file for file in handover.files if file.since == since]
        if files:
            found.append(
                Section(title=f"{title} since {handover.after}", things=tuple(_things(files, since)))
            )
    if handover.gone:
        found.append(
            Section(
                title=f"Handed over before, and not to be used any more since {handover.after}",
                things=tuple((gone.path, gone.why) for gone in handover.gone),
                bad=True,
            )
        )
    return found or [Section(title=f"Changed since {handover.after}", sentences=("Nothing.",))]


def _things(files: Iterable[HandoverFile], since: Since) -> Iterable[tuple[str, str]]:
    """What is to be said of files: those of a clip that changed for one reason together."""
    if since != "changed":
        yield from ((file.path, file.why) for file in files)
        return
    together: dict[tuple[str, int, str], list[str]] = {}
    for file in files:
        together.setdefault((file.job, file.revision, file.why), []).append(file.path)
    for (_, revision, why), paths in together.items():
        yield shortened(paths, MANY), f"revision {revision}: {why}"


def _notes(handover: Handover) -> Section:
    notes = list(handover.notes)
    if not handover.with_record:
        notes.append(
            "The record was left out: it cannot be measured with verify, nor made again with --from, from this folder."
        )
    return Section(title="To know", sentences=tuple(notes))


def _of_clips(pieces: Sequence[Piece]) -> Section:
    """What the records warn of, each once with the clips it is true of."""
    records = {piece.record.job: piece.record for piece in pieces}
    clips: dict[str, list[str]] = {}
    for record in records.values():
        for text in record.warnings:
            clips.setdefault(text, []).append(record.clip)
    return Section(
        title="Notes on clips in it",
        things=tuple((shortened(names, MANY), text) for text, names in clips.items()),
    )


def _check(handover: Handover) -> Section:
    folder = handover.folder
    first = f"`rushlight check {folder}`, or any reader of ASC MHL 2.0 manifests, says whether a copy of this folder is whole and unchanged"
    said = [f"{first}; its manifest lies in ascmhl/."]
    if handover.with_record:
        said.append(
            f"`rushlight verify {folder}` measures frames, timecode, tags and colour against the record."
        )
        said.append(
            f"`rushlight render --from {folder} --media ORIGINALS --out NEW` makes it again in a new folder NEW from the originals in"
            " the folder ORIGINALS; nothing is rendered into this one."
        )
    return Section(title="How to check it", sentences=tuple(said))
