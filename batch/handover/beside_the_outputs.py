"""What a delivery holds beside the files of its outputs: clip tables, grades, LUTs, and the record with what was kept of the request."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path, PurePath

from rushlight.batch.decisions.aces_metadata_write import AcesClip
from rushlight.batch.decisions.grade_export import GradedClip, write_handover
from rushlight.batch.decisions.recorded_look import kept_lut, recorded_look
from rushlight.batch.handover.what_changed import Piece
from rushlight.batch.job_log import LOG
from rushlight.batch.records.day_title import DayTitle
from rushlight.batch.records.files import DeliveredMovie, Output
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord
from rushlight.batch.records.merged import with_outputs
from rushlight.batch.report.clip_table import TableClip, clips_by_folder, clips_csv
from rushlight.batch.report.clip_tables import TABLES
from rushlight.batch.report.clip_timeline import clips_otio
from rushlight.batch.report.page_pictures import PICTURES, pictures_there
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.errors import OutsideError, RushlightError, TimecodeError, from_os
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import read_bytes, write
from rushlight.pipelines.originals.spanned_clips import MOVIES
from rushlight.pipelines.portable_name import safe_name
from rushlight.pipelines.visible_text import json_text

__all__ = ["cut_records", "write_grades", "write_pictures", "write_record", "write_tables"]

KEPT = ("log/inputs", "log/requests")  # folders that `render --from` reads, whole


def write_pictures(out: Path, part: Path, pieces: Sequence[Piece]) -> dict[str, str]:
    """The report's small stills of these clips, as far as they are there; gives their places in the delivery, by job."""
    records = {piece.record.job: piece.record for piece in pieces}
    folder, found = _free(part, "pictures"), dict[str, str]()
    for job, record in records.items():
        if isinstance(record, DeliveredRecord) and (name := pictures_there(out, record)["still"]):
            with suppress(OSError, OutsideError):
                data = read_bytes(out, f"{PICTURES}/{name}")
                found[job] = f"{folder}/{name}"
                _put(part, found[job], data)
    return found


def cut_records(pieces: Sequence[Piece]) -> list[JobRecord]:
    """The records of clips as far as they are of these files."""
    records = {piece.record.job: piece.record for piece in pieces}
    own: dict[str, list[Output]] = {}
    for piece in pieces:
        own.setdefault(piece.record.job, []).append(piece.entry)
    return [with_outputs(record, own[job]) for job, record in records.items()]


def write_tables(part: Path, records: Sequence[JobRecord], title: DayTitle) -> None:
    """The clip tables of each folder of movies, of these movies alone."""
    for folder, clips in clips_by_folder(records, title).items():
        for name, text in zip(TABLES, (clips_csv(clips), clips_otio(folder, clips)), strict=True):
            _put(part, f"{folder}/{name}", text.encode("utf-8", "replace"))


def write_grades(out: Path, part: Path, records: Sequence[JobRecord], title: str) -> list[str]:
    """The grades of these clips as `rushlight grades` writes them, and their show LUTs as they were given; gives a sentence
    for what an AMF cannot say, and where a look could not be built again from its record."""
    looks: dict[str, Look | None] = {}
    clips, without, lost = [], [], set[str]()
    for record in records:
        if record.look is None or not record.outputs:
            continue
        for each in (record.look, *record.looks.values()):
            if each.digest not in looks:
                looks[each.digest] = recorded_look(each, out)
        others = [looks[each.digest] for each in record.looks.values()]
        clip = _graded(record, looks[record.look.digest], tuple(filter(None, others)))
        if clip:
            clips.append(clip)
        else:
            without.append(record.clip)
        lost |= {name for name, look in record.looks.items() if looks[look.digest] is None}
    unsaid: dict[str, list[str]] = {}
    for name, text in ((clip.name, text) for clip in clips for text in clip.unsaid):
        unsaid.setdefault(text, []).append(name)
    folder = _free(part, "grades")
    if clips:
        write_handover(part / folder, clips, title)
    _show_luts(out, part / folder, records)
    said = [f"AMF of {shortened(names, 6)}: {text}" for text, names in unsaid.items()]
    if lost:
        said.append(f"There is no LUT of {', '.join(sorted(lost))}, which cannot be built again here")
    if beside := dict.fromkeys(e.output for r in records for e in r.outputs if e.look):
        outputs = ", ".join(beside)
        said.append(f"AMF are of the recipe's look; {outputs} show other looks, whose LUTs are beside them")
    if not without:
        return said
    return [
        *said,
        f"There are no grade files of {counted(len(without), 'clip')}, whose look cannot be built again here: {shortened(without, 6)}",
    ]


def _graded(record: JobRecord, look: Look | None, others: tuple[Look, ...]) -> GradedClip | None:
    if look is None:
        return None
    movies = [entry for entry in record.outputs if isinstance(entry, DeliveredMovie)]
    name = TableClip(record=record, entry=movies[0]).name if movies else PurePath(record.clip).stem
    with suppress(TimecodeError):
        start = Timecode.parse(record.first_timecode, FrameRate.parse(record.rate))
        return GradedClip(
            name=name,
            reel=record.reel,
            start=start,
            frames=record.frames,
            look=look,
            original=_original(record, name),
            others=others,
        )
    return None


def _original(record: JobRecord, name: str) -> AcesClip:
    """How an AMF names the clip: by its original's file, where that is one."""
    file = PurePath(record.source.path if record.source else "").name
    levels = record.signal.levels if record.signal else ""
    one = PurePath(file).suffix.lower() in MOVIES and "#" not in file
    return AcesClip(name=name, original=file if one else "", levels=levels)


def _show_luts(out: Path, folder: Path, records: Sequence[JobRecord]) -> None:
    """Each show LUT once, the bytes that were given; two of one name have their digest's beginning behind it."""
    looks = [look for record in records for look in (record.look, *record.looks.values()) if look]
    layers = [layer for look in looks for layer in look.layers if layer.layer == "show LUT"]
    names = {layer.digest: layer.name for layer in layers if layer.digest}
    twice = [name for name in names.values() if list(names.values()).count(name) > 1]
    for digest, name in names.items():
        number = digest.partition(":")[2]
        with suppress(OSError, OutsideError, KeyError):  # it is gone from the inputs: --from says so
            place = kept_lut(out, digest)
            data = read_bytes(out, place)
            stem = f"{name} {number[:8]}" if name in twice else name
            _put(folder, f"show LUT {safe_name(stem)}{Path(place).suffix}", data)


def _free(part: Path, name: str) -> str:
    """A folder's name that no output has."""
    taken = {path.name.casefold() for path in part.iterdir()}
    number, found = 2, name
    while found.casefold() in taken:
        found, number = f"{name} {number}", number + 1
    return found


def write_record(out: Path, part: Path, records: Sequence[JobRecord]) -> list[str]:
    """The record of these files, and all that was kept of the requests; gives a sentence for what of it could not be read."""
    lines = [json_text(r.plain(), separators=(",", ":"), allow_nan=False) for r in records]
    _put(part, LOG, "".join(f"{line}\n" for line in lines).encode())
    frames = {p.frames for r in records for p in r.colour.pictures if p.frames.startswith("log/frames/")}
    kept = [p.relative_to(out).as_posix() for f in KEPT for p in sorted((out / f).rglob("*")) if p.is_file()]
    said = []
    for name in [*sorted(frames), *kept]:
        try:
            data = read_bytes(out, name)
        except (OSError, RushlightError) as error:
            said.append(f"{name} of the record could not be read and is not in it: {error}")
            continue
        _put(part, name, data)
    return said


def _put(root: Path, name: str, data: bytes) -> None:
    try:
        root.mkdir(parents=True, exist_ok=True)
        write(root, name, data, sync=True)
    except OSError as error:
        raise from_os(error, root / name) from None
