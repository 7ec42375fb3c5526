"""Pictures on pages: each clip's still, a strip of frames over its length, scopes of three of them, a waveform, and contact sheets.

All are small and in sRGB. They are for finding a clip and seeing that nothing is absurd, not for judging colour.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TypedDict

import numpy as np
import xxhash
from numpy.typing import NDArray

from rushlight.batch.lists.clip_list import is_yes
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill, OutputFile
from rushlight.batch.records.job_record import ClipRecord, DeliveredRecord
from rushlight.batch.records.shape import box_of
from rushlight.batch.report.scope_drawing import scope_svg
from rushlight.pipelines import inside_folder
from rushlight.pipelines.burnin.text_masks import drawable, text_mask, text_width
from rushlight.pipelines.colour.displays import Display, find_display
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.measure.scopes import scopes
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.outputs.stills import read_still, write_still

__all__ = [
    *("PICTURES", "STILL", "Pictures", "anchor_of", "clip_pictures", "contact_sheets", "fitted"),
    *("pictures_there", "sheet_lines", "shown_of", "write_before"),
]

Array = NDArray[np.float64]
Codes = NDArray[np.uint8]
PICTURES = "report/pictures"
STILL, THUMB, STRIP, SMALL = (480, 270), (192, 108), (160, 90), (160, 90)
SMALL_QUALITY = 55  # of JPEG: 500 small pictures stand in one page of 2 MB
FRAMES = 6
LETTERS, LINES = 12, 4  # pixels of a contact sheet's letters, and lines of them under each picture
CELL = (THUMB[1] + 16 + LINES * (LETTERS + 4), THUMB[0] + 16)  # rows and columns of a contact sheet's cell
SHEET = (5, 8)  # clips across and down one contact sheet
HEAD = 32  # rows of its heading
SCOPES = ("first", "middle", "last")  # of the strip's frames


@dataclass(frozen=True, kw_only=True, eq=False)
class _Frame:
    """A frame of a delivered file, thinned: display R'G'B' (h, w, 3) of all of it, and of the picture alone, NaN where it is drawn over."""

    rgb: Array
    alone: Array
    display: Display
    timecode: str


class Pictures(TypedDict):
    """Names of a clip's pictures in their folder; empty where there is none."""

    still: str
    strip: str
    waveform: str
    cell: str  # of a contact sheet: the still made smaller, with the lines below it
    lines: tuple[str, ...]  # of that cell: clip; scene and take; timecode and day; grade
    small: str  # the still made small enough to stand in a page itself
    before: str  # the still's frame as the camera has it, in log; made as the clip was finished
    scopes: tuple[
        str, ...
    ]  # of the strip's first, middle and last frame; of the still where there is no strip


def anchor_of(record: ClipRecord) -> str:
    """Anchor that names a clip in a page's addresses and files."""
    return re.sub(r"[^A-Za-z0-9_-]", "-", record.job)


def clip_pictures(folder: Path, record: DeliveredRecord) -> Pictures:
    """Write a delivered clip's pictures; gives their names.

    Names hold a digest of the delivered files, so that pictures which are there are left as they are: most were made as the
    clip was finished.
    """
    names = _names(record)
    if not _is_there(folder, names["still"]):
        _make(folder, record, names)
        return pictures_there(folder, record)
    with suppress(RushlightError, OSError):  # an earlier version made the others
        if not _is_there(folder, names["small"]):
            still = read_still(inside_folder.path_of(folder, f"{PICTURES}/{names['still']}"))
            _write_small(folder, names, still)
        if not _is_there(folder, names["cell"]):  # or its words were others
            still = read_still(inside_folder.path_of(folder, f"{PICTURES}/{names['still']}"))
            _write(folder, f"{PICTURES}/{names['cell']}", _cell(still, names["lines"]), "png8")
        if not any(_is_there(folder, name) for name in names["scopes"]):
            _write_scopes(folder, record, names, _strip(folder, record), _first_still(folder, record))
    return pictures_there(folder, record)


def shown_of(record: DeliveredRecord) -> tuple[OutputFile, int] | None:
    """The file whose picture is the clip's still, and its frame in the original: a still, else the middle of the strip."""
    entries = [e for e in record.outputs if e.display]
    stills = sorted((e for e in entries if isinstance(e, DeliveredStill)), key=lambda e: e.look != "")
    if stills:
        return stills[0], stills[0].frame
    movies = (e for e in entries if isinstance(e, DeliveredMovie))
    for entry in sorted(movies, key=lambda e: (e.look != "", e.width)):
        numbers = _numbers(entry)
        return entry, record.first_frame + numbers[len(numbers) // 2] - entry.card
    return None


def _numbers(entry: DeliveredMovie) -> list[int]:
    """Frames of a movie, from 0, that its strip shows."""
    last = max(entry.frames - entry.card - 1, 0)
    return sorted({entry.card + round(k * last / (FRAMES - 1)) for k in range(FRAMES)})


def _before_name(record: DeliveredRecord) -> str:
    """The name holds what the picture depends on, which is not what the look made of it."""
    shown = shown_of(record)
    if shown is None:
        return ""
    entry, frame = shown
    known = f"{record.source.hash} {frame} {entry.width}x{entry.height} {entry.picture}"
    return f"{anchor_of(record)}-{xxhash.xxh3_64_hexdigest(known.encode())[:8]}-before.jpg"


def write_before(folder: Path, record: DeliveredRecord, rgb: Array) -> None:
    """Keep the log picture of a clip's still (h, w, 3), 0 to 1."""
    inside_folder.make_folder(folder, PICTURES)
    _write(folder, f"{PICTURES}/{_before_name(record)}", rgb, "jpeg")


def sheet_lines(record: DeliveredRecord) -> tuple[str, ...]:
    """What a contact sheet says of a clip: its name; scene, take, circled; first timecode and day; grade."""
    row, grade = record.row or {}, record.look.grade
    named = [f"{word} {row[word]}" for word in ("scene", "take") if row.get(word)]
    circled = ["circled"] if is_yes(row.get("circled", "")) else []
    day = [text for text in (row.get("day") or row.get("date"),) if text]
    graded = (row.get("look") or grade.source.rpartition("/")[2] or "graded") if grade else "ungraded"
    return (
        record.clip,
        ", ".join([*named, *circled]) or "no scene",
        ", ".join([record.first_timecode, *day]),
        graded,
    )


def pictures_there(folder: Path, record: DeliveredRecord) -> Pictures:
    """Names of those of a clip's pictures that are there; none is made."""
    names = _names(record)
    return Pictures(
        still=_there(folder, names["still"]),
        strip=_there(folder, names["strip"]),
        waveform=_there(folder, names["waveform"]),
        cell=_there(folder, names["cell"]),
        lines=names["lines"],
        before=_there(folder, names["before"]),
        small=_there(folder, names["small"]),
        scopes=tuple(name for name in names["scopes"] if _is_there(folder, name)),
    )


def _names(record: DeliveredRecord) -> Pictures:
    hashes = "".join(e.hash for e in record.outputs)
    lines = sheet_lines(record)
    name = f"{anchor_of(record)}-{xxhash.xxh3_64_hexdigest(hashes.encode())[:8]}"
    return Pictures(
        still=f"{name}.jpg",
        strip=f"{name}-strip.jpg",
        waveform=f"{name}-waveform.png",
        cell=f"{name}-{xxhash.xxh3_64_hexdigest(chr(10).join(lines).encode('utf-8', 'replace'))[:6]}-cell.png",
        lines=lines,
        before=_before_name(record),
        small=f"{name}-small.jpg",
        scopes=tuple(f"{name}-scopes-{which}.svg" for which in SCOPES),
    )


def _is_there(folder: Path, file: str) -> bool:
    return inside_folder.is_file(folder, f"{PICTURES}/{file}")


def _there(folder: Path, file: str) -> str:
    return file if file and _is_there(folder, file) else ""


def _make(folder: Path, record: DeliveredRecord, names: Pictures) -> None:
    inside_folder.make_folder(folder, PICTURES)
    frames = _strip(folder, record)
    picture = _first_still(folder, record) or (frames[len(frames) // 2] if frames else None)
    if frames:
        row = np.concatenate([_padded(fitted(f.rgb, f.display, *STRIP), *STRIP) for f in frames], 1)
        _write(folder, f"{PICTURES}/{names['strip']}", row, "jpeg")
    if picture is not None:
        _write_scopes(folder, record, names, frames, picture)
        _write(folder, f"{PICTURES}/{names['waveform']}", _waveform(picture.rgb), "png8")
        still = fitted(picture.rgb, picture.display, *STILL)
        _write(folder, f"{PICTURES}/{names['cell']}", _cell(still, names["lines"]), "png8")
        _write_small(folder, names, still)
        _write(folder, f"{PICTURES}/{names['still']}", still, "jpeg")  # last: it says that all are there


def _write_scopes(
    folder: Path, record: DeliveredRecord, names: Pictures, frames: Sequence[_Frame], still: _Frame | None
) -> None:
    """Scopes of three frames of the strip, or of the still where there is none: of the picture alone, as its file has it."""
    shown = [frames[0], frames[len(frames) // 2], frames[-1]] if frames else [None, still, None]
    for name, frame in zip(names["scopes"], shown, strict=True):
        if frame:
            title = f"Scopes of {record.clip} at {frame.timecode}: R'G'B' parade, vectorscope, CIE 1976 u'v'"
            drawn = scope_svg(scopes(frame.alone, frame.display), frame.display, title)
            inside_folder.write(folder, f"{PICTURES}/{name}", drawn.encode("utf-8", "replace"))


def _write_small(folder: Path, names: Pictures, still: Array) -> None:
    """The small picture of a still in sRGB."""
    small = fitted(still, find_display("sRGB"), *SMALL)
    _write(folder, f"{PICTURES}/{names['small']}", small, "jpeg", quality=SMALL_QUALITY)


def _write(folder: Path, name: str, rgb: Array | Codes, kind: str, *, quality: int = 95) -> None:
    """Under its name only when it is whole: a report may write it beside a night. One of less quality has no profile: sRGB is
    what a page takes it for."""
    path = PurePosixPath(name)
    temporary = str(path.with_name(f".{path.stem}.{os.getpid()}-{os.urandom(4).hex()}.part{path.suffix}"))
    try:
        display = find_display("sRGB") if quality > SMALL_QUALITY else None
        write_still(inside_folder.fresh(folder, temporary), rgb, kind, display=display, quality=quality)
        inside_folder.move(folder, temporary, name)
    finally:
        inside_folder.unlink(folder, temporary)


def _first_still(folder: Path, record: DeliveredRecord) -> _Frame | None:
    for entry in sorted(record.outputs, key=lambda entry: entry.look != ""):  # the recipe's look first
        if isinstance(entry, DeliveredStill) and entry.display:
            try:
                rgb = read_still(inside_folder.path_of(folder, entry.path), width=2 * STILL[0])
                alone = _alone(rgb, entry, max(1, entry.width // (2 * STILL[0])))
                display = find_display(entry.display)
                return _Frame(rgb=rgb, alone=alone, display=display, timecode=entry.first_timecode)
            except (RushlightError, OSError):
                continue
    return None


def _strip(folder: Path, record: DeliveredRecord) -> list[_Frame]:
    """Frames spread over the clip, from its smallest movie that a display shows, of the recipe's look where one has it; none where there is no such movie."""
    from rushlight.pipelines.measure import colour_tiles

    movies = [(e, e.display) for e in record.outputs if isinstance(e, DeliveredMovie) and e.display]
    for entry, shown_on in sorted(movies, key=lambda pair: (pair[0].look != "", pair[0].width)):
        try:
            facts = probe(inside_folder.path_of(folder, entry.path))
            step = max(1, entry.width // 480)
            display, found = find_display(shown_on), []
            start = Timecode.parse(entry.first_timecode, FrameRate.parse(entry.rate))
            with open_source(facts) as source:
                for number in _numbers(entry):
                    views = planes(next(iter(source.frames(number, 1))).image)
                    levels = facts.levels_tag or "narrow"
                    rgb = colour_tiles.display_rgb(views, facts.pixel_format, levels, facts.matrix, step)
                    alone = _alone(rgb, entry, step)
                    at = str(start + number)
                    found.append(_Frame(rgb=rgb, alone=alone, display=display, timecode=at))
            return found
        except (RushlightError, OSError, StopIteration):
            continue
    return []


def _alone(rgb: Array, entry: OutputFile, step: int) -> Array:
    """The picture within a raster of which every `step`th pixel is here; NaN where it is drawn over."""
    x, y, width, height = box_of(entry.picture)
    within = rgb.copy()
    for left, top, wide, high in (box_of(box) for box in entry.covered):
        within[-(-top // step) : -(-(top + high) // step), -(-left // step) : -(-(left + wide) // step)] = (
            np.nan
        )
    return within[-(-y // step) : -(-(y + height) // step), -(-x // step) : -(-(x + width) // step)]


def fitted(rgb: Array, display: Display, width: int, height: int) -> Array:
    """A picture (h, w, 3) made small enough for `width` x `height`, its shape kept, as sRGB R'G'B': means of light, of four
    samples of it or more."""
    scale = min(width / rgb.shape[1], height / rgb.shape[0], 1.0)
    rows, columns = (max(1, round(size * scale)) for size in rgb.shape[:2])
    thin = rgb[:: max(1, rgb.shape[0] // (2 * rows)), :: max(1, rgb.shape[1] // (2 * columns))]
    light = display.to_light(thin)
    for axis, parts in ((0, rows), (1, columns)):
        edges = np.arange(parts + 1) * light.shape[axis] // parts
        shape = [1, 1, 1]
        shape[axis] = parts
        light = np.add.reduceat(light, edges[:-1], axis) / np.diff(edges).reshape(shape)
    return find_display("sRGB").from_light(light)


def _padded(rgb: Array, width: int, height: int) -> Array:
    canvas = np.zeros((height, width, 3))
    top, left = (height - rgb.shape[0]) // 2, (width - rgb.shape[1]) // 2
    canvas[top : top + rgb.shape[0], left : left + rgb.shape[1]] = rgb
    return canvas


def _waveform(rgb: Array, width: int = 480, height: int = 160) -> Array:
    """Waveform of a picture, column by column: R', G' and B' of 0 (foot) to 1 (head), lines at each quarter."""
    thin = np.clip(np.nan_to_num(rgb[:: max(1, rgb.shape[0] // 270)]), 0, 1)
    at = np.arange(thin.shape[1]) * width // thin.shape[1]
    canvas = np.full((height, width, 3), 0.06)
    for quarter in range(5):
        canvas[round(quarter / 4 * (height - 1))] = 0.22
    for channel in range(3):
        level = np.rint((1 - thin[..., channel]) * (height - 1)).astype(np.intp)
        cell = level * width + np.broadcast_to(at, level.shape)
        counts = np.bincount(cell.ravel(), minlength=width * height).reshape(height, width)
        canvas[..., channel] += np.sqrt(counts / max(1, counts.max())) * 1.6
    return np.clip(canvas, 0, 1)


def contact_sheets(
    folder: Path, clips: Sequence[tuple[Sequence[str], str, str]], report: str, title: str = ""
) -> list[str]:
    """PNG sheets of (lines, still, cell), the last two file names, forty clips a sheet, headed by `title`; gives the files' names."""
    across, down = SHEET
    for old in (folder / report).glob("contact-*.png"):
        inside_folder.unlink(folder, f"{report}/{old.name}")
    names = []
    shown = [clip for clip in clips if clip[1]]
    sheets = -(-len(shown) // (across * down))
    for first in range(0, len(shown), across * down):
        cells = [_read_cell(folder, *clip) for clip in shown[first : first + across * down]]
        cells += [np.full_like(cells[0], 255)] * (-len(cells) % across)
        rows = [np.concatenate(cells[k : k + across], 1) for k in range(0, len(cells), across)]
        number = first // (across * down) + 1
        head = _words(
            [f"{title or folder.name}, sheet {number} of {sheets}"], rows[0].shape[1], HEAD, letters=18
        )
        names.append(f"contact-{number}.png")
        _write(folder, f"{report}/{names[-1]}", np.concatenate([head, *rows], 0), "png8")
    return names


def _read_cell(folder: Path, lines: Sequence[str], still: str, cell: str) -> Codes:
    """A clip's cell; drawn anew where it is not there, or was damaged since."""
    try:
        found = read_still(inside_folder.path_of(folder, f"{PICTURES}/{cell}")) if cell else None
        if found is not None and found.shape == (*CELL, 3):
            return np.rint(found * 255).astype(np.uint8)
    except (RushlightError, OSError):
        pass
    picture = None  # a damaged one leaves its place white
    with suppress(RushlightError, OSError):
        picture = read_still(inside_folder.path_of(folder, f"{PICTURES}/{still}"))
    return _cell(picture, lines)


def _cell(picture: Array | None, lines: Sequence[str]) -> Codes:
    """One clip of a contact sheet: its picture (sRGB) on white, its lines below."""
    width, height = THUMB
    top = np.full((height + 8, CELL[1], 3), 255, np.uint8)
    if picture is not None:
        small = _padded(fitted(picture, find_display("sRGB"), width, height), width, height)
        top[8:, 8 : 8 + width] = np.rint(np.clip(small, 0, 1) * 255)
    return np.concatenate([top, _words(lines, CELL[1], CELL[0] - len(top), letters=LETTERS)], 0)


def _words(lines: Sequence[str], width: int, height: int, *, letters: int) -> Codes:
    """Lines of words on white, `letters` pixels high; what is too long loses its middle."""
    ground = np.ones((height, width))
    for k, line in enumerate(lines):
        text, _, font = drawable(line)
        room = width - 16
        while text_width(text, letters, font) > room:
            keep = (len(text) - 4) // 2
            text = f"{text[:keep].rstrip('.')}...{text[-keep:].lstrip('.')}"
        ink = text_mask(text, letters, font, "none").ink
        top = 2 + k * (letters + 4)
        part = ground[top : top + ink.shape[0], 8 : 8 + ink.shape[1]]
        part *= 1 - ink[: part.shape[0], : part.shape[1]] * (0.85 if k == 0 else 0.7)
    return np.rint(np.repeat(ground[..., None], 3, -1) * 255).astype(np.uint8)
