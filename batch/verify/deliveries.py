"""Measuring deliveries against the log: is every delivered frame there, in its place, in the colour that was made?

Up to six checks a clip: hash (the file's bytes), frames (their number, and each one's mean luma in its place),
timecode, tags, sound (laid again from its files or original, where they are still there, and compared), and colour (tiles of sampled frames against the ones that were logged, in CIEDE2000). Burned-in
pixels are left out by both sides. Where a small wrong grade could not be seen in a clip, the verdict on its colour
is 'cannot tell', never 'pass'. Nothing here says that a colour was approved: it matches the decision supplied.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import LOG, latest, read_log
from rushlight.batch.json_lines import Refused, parse_lines
from rushlight.batch.plan.request import default_workers
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill, OutputFile
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord
from rushlight.batch.records.shape import box_of
from rushlight.batch.records.side_files import FrameLine
from rushlight.batch.records.verdicts import ORDER, CheckVerdict, ClipVerdicts
from rushlight.batch.verify.colour_check import colour_check
from rushlight.batch.verify.frame_check import frame_check, open_cells
from rushlight.batch.verify.picture_warnings import Extremes, colour_warnings, extremes, frame_warnings
from rushlight.batch.verify.sound_check import sound_check
from rushlight.batch.verify.spread import spread
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.icc_profile import profile
from rushlight.pipelines.errors import OptionError, RushlightError
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import is_file, path_of, read_bytes
from rushlight.pipelines.measure import colour_tiles
from rushlight.pipelines.measure.checksum import file_hash
from rushlight.pipelines.measure.luma_grid import luma_grid
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import Facts, probe
from rushlight.pipelines.outputs.readback import Delivered, read_back
from rushlight.pipelines.outputs.stills import read_still, still_words

__all__ = ["DeliveredLog", "delivered_clips", "delivered_log", "verify", "verify_clip"]

Array = NDArray[np.float64]
Views = Sequence[NDArray[np.generic]]  # planes of a picture
Box = tuple[int, int, int, int]
Checks = dict[str, CheckVerdict]
CHECKS = (
    "frames",
    "timecode",
    "tags",
    "colour",
    "sound",
    "hash",
    "record",
)  # the last only where the log is damaged

ALONE = 4e8  # pixels of movies, 200 frames of HD, that one process measures while others would start


@dataclass(frozen=True, kw_only=True)
class DeliveredLog:
    """The records of delivered clips, and the lines that cost their clip its record."""

    records: list[DeliveredRecord]
    refused: list[Refused]


def delivered_clips(folder: Path) -> list[DeliveredRecord]:
    """The records of `delivered_log` alone."""
    return delivered_log(folder).records


def delivered_log(folder: Path) -> DeliveredLog:
    """The records that hold of delivered clips; one whose latest line is damaged has none. OptionError where a folder
    has no log."""
    log = read_log(folder)
    lost = {each.job for each in log.refused if each.job}
    held = latest(log.records).values()
    found = [r for r in held if isinstance(r, DeliveredRecord) and r.job not in lost]
    if not found and not log.refused and not is_file(folder, LOG):
        raise OptionError("has no log/jobs.jsonl: nothing was rendered here", file=str(folder))
    return DeliveredLog(records=found, refused=log.refused)


def verify(
    folder: Path,
    *,
    hashes: bool = True,
    workers: int | None = None,
    on_clip: Callable[[str], None] = lambda clip: None,
) -> list[ClipVerdicts]:
    """Every delivered clip of an output folder, measured; one whose record does not read fails for that.

    By so many processes; if None, one a core, or none but this one where starting them would take longer.
    """
    log = delivered_log(folder)
    if workers is None:
        workers = default_workers() if _much(log.records) else 1
    if workers > 1 and len(log.records) > 1:
        verdicts = spread(
            folder,
            log.records,
            hashes=hashes,
            workers=workers,
            on_clip=on_clip,
            function=f"{__name__}:{verify_clip.__name__}",
        )
    else:
        verdicts = []
        for record in log.records:
            on_clip(record.clip)
            verdicts.append(verify_clip(folder, record, hashes=hashes))
    return verdicts + [_unread(each) for each in log.refused]


def _much(records: Sequence[DeliveredRecord]) -> bool:
    """True if measuring takes longer than starting processes for it."""
    pixels = sum(
        e.frames * e.width * e.height for r in records for e in r.outputs if isinstance(e, DeliveredMovie)
    )
    return pixels > ALONE


def _unread(refused: Refused) -> ClipVerdicts:
    text = f"{refused.error}; nothing of this clip can be measured. Render it again, or put the log back from a copy"
    return ClipVerdicts(
        clip=refused.name,
        job=refused.job or f"line {refused.error.line}",
        made="",
        decision="none",
        verdict="fail",
        checks={"record": CheckVerdict(verdict="fail", text=text)},
        files={},
    )


def verify_clip(folder: Path, record: DeliveredRecord, *, hashes: bool = True) -> ClipVerdicts:
    """One clip's files against its record."""
    files = {entry.path: _file(folder, record, entry, hashes) for entry in record.outputs}
    worst: dict[str, CheckVerdict] = {}
    for path_name, checks in files.items():
        for name, check in checks.items():
            if name not in worst or ORDER[check.verdict] > ORDER[worst[name].verdict]:
                text = f"{path_name}: {check.text}" if check.text else ""
                worst[name] = check.model_copy(update={"text": text})
    # Sound that cannot be compared, its card being gone, takes nothing from what was measured.
    decide = [c for name, c in worst.items() if name != "sound" or c.verdict != "cannot tell"]
    return ClipVerdicts(
        clip=record.clip,
        job=record.job,
        made=record.finished,
        decision="none" if record.look.grade is None else "supplied",
        verdict=max((c.verdict for c in decide), key=ORDER.__getitem__, default="cannot tell"),
        checks={name: worst[name] for name in CHECKS if name in worst},
        files=files,
    )


def _file(folder: Path, record: DeliveredRecord, entry: OutputFile, hashes: bool) -> Checks:
    """One file's checks. Whatever a library raises over it is its own failure, and no other file's."""
    try:
        path = path_of(folder, entry.path)
        if isinstance(entry, DeliveredMovie):
            checks = _movie(folder, path, record, entry)
        else:
            checks = _still(path, record, entry)
        if hashes:
            same = file_hash(path) == entry.hash
            checks["hash"] = CheckVerdict(
                verdict="pass" if same else "fail", text="" if same else "the file's bytes have changed"
            )
    except RushlightError as error:
        return {"frames": CheckVerdict(verdict="fail", text=error.text)}
    except FileNotFoundError:
        return {"frames": CheckVerdict(verdict="fail", text="is not there")}
    except OSError as error:
        return {"frames": CheckVerdict(verdict="fail", text=f"cannot be read: {error.strerror or error}")}
    except Exception as error:
        text = unexpected(folder, f"measuring {entry.path}", error)
        return {"frames": CheckVerdict(verdict="fail", text=text)}
    return checks


# --- movies


def _movie(folder: Path, path: Path, record: DeliveredRecord, entry: DeliveredMovie) -> Checks:
    delivered = read_back(path)
    checks = {"timecode": _timecode(delivered.first_timecode, entry), "tags": _tags(delivered, entry)}
    facts = probe(path)
    sizes = {(delivered.width, delivered.height), (facts.width, facts.height)}
    if sizes != {(entry.width, entry.height)}:  # a header may ask for any amount of memory
        text = "is not of the size that it was made in: its pictures were not measured"
        return checks | {"frames": CheckVerdict(verdict="fail", text=text)}
    try:
        logged = _logged_grids(folder, record, entry)
    except OptionError as error:
        logged, checks["record"] = None, CheckVerdict(verdict="fail", text=f"{error}")
    wanted = {t.frame - record.first_frame: t.values for t in record.colour.tiles.get(entry.output, ())}
    grids: list[list[float]] = []
    tiles: dict[int, Array] = {}
    damaged = 0
    box, covered = box_of(entry.picture), [box_of(c) for c in entry.covered]
    card = entry.card  # frames before the clip's first
    shares: list[Extremes] = []
    with open_source(facts) as source:
        for frame in source.frames(0, max(delivered.frames, 1)):
            damaged += bool(frame.damage)
            if (number := frame.number - card) < 0:
                continue
            views = planes(frame.image)
            grids.append(luma_grid(views[0], box))
            if number in wanted:
                tiles[number] = _measured(views, facts, entry, box, covered)
                if entry.state != "log":
                    shares.append(_extremes(views, facts, box, covered))
    found = np.array(grids)
    checks["frames"] = frame_check(delivered.frames, damaged, found, logged, entry, facts)
    if "record" in checks and checks["frames"].verdict == "warn":
        text = "only their number was checked: the log of the single frames is damaged"
        checks["frames"] = checks["frames"].model_copy(update={"verdict": "cannot tell", "text": text})
    cells = open_cells(entry)
    if checks["frames"].verdict == "pass" and logged is not None and cells and entry.state != "log":
        scale = 2.0 ** (8 - facts.pixel_format.bits)
        black = 0.0 if facts.levels_tag == "full" else 16.0
        odd = frame_warnings(found[:, cells] * scale, logged[:, cells] * scale, black, record)
        checks["frames"] = _warned(checks["frames"], odd)
    if heard := sound_check(path, record, entry):
        checks["sound"] = heard
    checks["colour"] = _warned(colour_check(wanted, tiles, entry, record), colour_warnings(shares, record))
    return checks


def _warned(check: CheckVerdict, texts: list[str]) -> CheckVerdict:
    """A check with warnings added; what it said already stays, and a failure stays one."""
    if not texts:
        return check
    verdict = check.verdict if check.verdict == "fail" else "warn"
    text = "; ".join([check.text, *texts] if check.text else texts)
    return check.model_copy(update={"verdict": verdict, "text": text})


def _extremes(views: Views, facts: Facts, box: Box, covered: list[Box]) -> Extremes:
    height, width = views[0].shape
    step = max(1, width // 640)
    rgb = colour_tiles.display_rgb(
        views, facts.pixel_format, facts.levels_tag or "narrow", facts.matrix, step
    )
    x, y, w, h = box
    open_ = np.zeros((height, width), bool)
    open_[y : y + h, x : x + w] = colour_tiles.uncovered(width, height, box, covered)
    return extremes(rgb, open_[::step, ::step])


def _measured(views: Views, facts: Facts, entry: DeliveredMovie, box: Box, covered: list[Box]) -> Array:
    """Tiles of a delivered picture, read by what its tags say of it: a wrong tag is a wrong colour."""
    if entry.state == "log":
        return colour_tiles.tile_codes(views, facts.pixel_format, box, covered)
    display = find_display(entry.display or "")
    levels = facts.levels_tag or "narrow"
    return colour_tiles.tile_lab(views, facts.pixel_format, levels, facts.matrix, display, box, covered)


def _timecode(found: str, entry: DeliveredMovie) -> CheckVerdict:
    rate = FrameRate.parse(entry.rate)
    try:
        same = Timecode.parse(found, rate) == Timecode.parse(entry.first_timecode, rate)
    except RushlightError:
        same = False
    text = "" if same else f"starts at {found or 'no timecode'}, should be {entry.first_timecode}"
    return CheckVerdict(
        verdict="pass" if same else "fail",
        text=text,
        found=found,
        logged=entry.first_timecode,
    )


def _tags(delivered: Delivered, entry: DeliveredMovie) -> CheckVerdict:
    faults = []
    for where, found, logged in (
        ("container", delivered.tags, entry.tags),
        ("picture", delivered.picture_tags, entry.picture_tags),
    ):
        wanted = (logged.primaries, logged.transfer, logged.matrix, logged.levels)
        if found != wanted:
            faults.append(f"{where} tags are {found}, should be {wanted}")
    for name, is_, should in (
        ("width", delivered.width, entry.width),
        ("height", delivered.height, entry.height),
        ("pixel_format", delivered.pixel_format, entry.pixel_format),
        ("reel", delivered.reel, entry.reel),
    ):
        if is_ != should:
            faults.append(f"{name} is {is_!r}, should be {should!r}")
    return CheckVerdict(verdict="fail" if faults else "pass", text="; ".join(faults))


def _logged_grids(folder: Path, record: JobRecord, entry: DeliveredMovie) -> Array | None:
    """Mean luma codes (frames, 16) of each frame as it was made; None where the side file is gone.

    OptionError with file and line where it is damaged.
    """
    for picture in record.colour.pictures:
        if entry.output in picture.outputs and picture.frames:
            try:
                data = read_bytes(folder, picture.frames)
            except OSError:
                return None
            lines, refused = parse_lines(data, FrameLine.read, file=str(folder / picture.frames))
            if refused:
                raise refused[0].error
            rows = [row for _, row in lines if row.picture == picture.index]
            count = entry.frames - entry.card
            if [row.frame - rows[0].frame for row in rows] != list(range(count)):
                raise OptionError(
                    f"is damaged: it has {len(rows)} lines of this picture, not one for each of its {count} frames",
                    file=str(folder / picture.frames),
                )
            return np.array([row.luma for row in rows])
    return None


def _words(path: Path, entry: DeliveredStill) -> Checks:
    """A still's timecode, from its description, and its tags: the profile of the display it was made for."""
    description, icc = still_words(path)
    found, wanted = description.rpartition(" ")[2], entry.first_timecode
    display = find_display(entry.display) if entry.display and entry.still_kind != "exr" else None
    right = icc == ((profile(display) or b"") if display else b"")
    place = "" if found == wanted else f"says {found or 'no timecode'}, should say {wanted}"
    tags = "" if right else "its colour profile is not the one it was made with"
    return {
        "timecode": CheckVerdict(verdict="fail" if place else "pass", text=place, found=found, logged=wanted),
        "tags": CheckVerdict(verdict="fail" if tags else "pass", text=tags),
    }


def _still(path: Path, record: DeliveredRecord, entry: DeliveredStill) -> Checks:
    rgb = read_still(path)
    size = (rgb.shape[1], rgb.shape[0])
    checks = {"frames": CheckVerdict(verdict="pass", text=""), **_words(path, entry)}
    if size != (entry.width, entry.height):
        checks["frames"] = CheckVerdict(
            verdict="fail", text=f"is {size[0]}x{size[1]}, should be {entry.width}x{entry.height}"
        )
        return checks
    if entry.tiles and entry.display:
        tiles = colour_tiles.tile_lab_rgb(rgb, find_display(entry.display), box_of(entry.picture))
        checks["colour"] = colour_check({0: entry.tiles}, {0: tiles}, entry, record)
    return checks
