"""Deliveries against something else: another render of the same list, or reference frames from a monitor.

Reference frames never carry or apply a grade: they are looked at, and mismatches are ranked.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.error_log import unexpected
from rushlight.batch.records.colour import Patch
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.shape import TileValues, box_of
from rushlight.batch.records.verdicts import AloneClip, ComparedClip, Difference, ReferenceVerdict
from rushlight.batch.verify.colour_check import tile_array
from rushlight.batch.verify.deliveries import delivered_clips, delivered_log
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import OptionError, RushlightError
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import path_of
from rushlight.pipelines.measure import colour_difference, colour_tiles
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.outputs.stills import read_still

__all__ = ["against_references", "compare", "reference_frames"]

Array = NDArray[np.float64]


def compare(folder: Path, other: Path) -> list[ComparedClip | AloneClip]:
    """Clips of two output folders, by name: whose colour differs, and by how much; the largest first.

    Patches are compared always, tiles where both delivered the same frames graded. `differences` says in words where
    rasters or codecs are not the same: then frames cannot be equal, and patches and tiles alone tell.
    """
    ours, others = delivered_log(folder), delivered_log(other)
    theirs = {r.clip: r for r in others.records}
    rows: list[ComparedClip | AloneClip] = []
    for record in ours.records:
        match = theirs.pop(record.clip, None)
        try:
            rows.append(_compared(record, match) if match else _alone(record.clip, "only here"))
        except Exception as error:
            text = unexpected(folder, f"comparing {record.clip}", error)
            rows.append(_alone(record.clip, "not compared", text))
    rows += [_alone(clip, "only there") for clip in theirs]
    rows += [_alone(each.name, "not compared", str(each.error)) for each in (*ours.refused, *others.refused)]
    return sorted(rows, key=lambda r: -(r.patches.worst if r.patches else 1e9))


def _compared(record: DeliveredRecord, match: DeliveredRecord) -> ComparedClip | AloneClip:
    """One clip of both folders."""
    here, there = _patches(record), _patches(match)
    names = [name for name in here if name in there]
    if not names:
        return _alone(record.clip, "not compared", "one of the records has no patches")
    patches = colour_difference.delta_e(*(np.array([each[n].lab for n in names]) for each in (here, there)))
    tiles = _common_tiles(record, match)
    moved = float(patches.max()) > 0.01 or (tiles is not None and float(np.nanmean(tiles)) > 0.3)
    return ComparedClip(
        clip=record.clip,
        verdict="colour differs" if moved else "same colour",
        same_look=_looks(record) == _looks(match),
        same_frames=_same_frames(record, match),
        differences=_differences(record, match),
        patches=Difference(mean=round(float(patches.mean()), 4), worst=round(float(patches.max()), 4)),
        tiles=None
        if tiles is None
        else Difference(mean=round(float(np.nanmean(tiles)), 4), worst=round(float(np.nanmax(tiles)), 4)),
    )


def _looks(record: DeliveredRecord) -> dict[str, str]:
    """Digests of a record's looks by name, the recipe's under an empty one."""
    return {"": record.look.digest, **{name: look.digest for name, look in record.looks.items()}}


def _patches(record: DeliveredRecord) -> dict[tuple[str, str], Patch]:
    """Patches through each look of a record, by the name of the look and of the patch."""
    looks = {"": record.colour.patches, **{name: look.patches for name, look in record.looks.items()}}
    return {(look, name): patch for look, found in looks.items() for name, patch in found.items()}


def _alone(
    clip: str, verdict: Literal["only here", "only there", "not compared"], why: str = ""
) -> AloneClip:
    return AloneClip(clip=clip, verdict=verdict, patches=None, tiles=None, differences=[why] if why else [])


def _movies(record: DeliveredRecord) -> dict[str, DeliveredMovie]:
    return {e.output: e for e in record.outputs if isinstance(e, DeliveredMovie)}


def _differences(one: DeliveredRecord, two: DeliveredRecord) -> list[str]:
    """Differences of two records of a clip in outputs, rasters, codecs or frames, one sentence each."""
    here, there = _movies(one), _movies(two)
    found = [
        f"{name} is only {where}"
        for where, names in (("here", here.keys() - there.keys()), ("there", there.keys() - here.keys()))
        for name in sorted(names)
    ]
    found += [
        f"look {name!r} is only {where}"
        for where, names in (("here", one.looks.keys() - two.looks), ("there", two.looks.keys() - one.looks))
        for name in sorted(names)
    ]
    for name in sorted(here.keys() & there.keys()):
        said = [f"{e.width}x{e.height} {e.codec}, {e.frames} frames" for e in (here[name], there[name])]
        if said[0] != said[1]:
            found.append(f"{name} is {said[0]} here and {said[1]} there")
    return found


def _same_frames(one: DeliveredRecord, two: DeliveredRecord) -> bool | None:
    """True if every frame of every output that both have was graded to the same codes; None where none is
    common."""

    def digests(record: DeliveredRecord) -> dict[str, str]:
        return {o: p.digest for p in record.colour.pictures for o in p.outputs}

    here, there = digests(one), digests(two)
    common = here.keys() & there.keys()
    return all(here[o] == there[o] for o in common) if common else None


def _common_tiles(one: DeliveredRecord, two: DeliveredRecord) -> Array | None:
    def graded(record: DeliveredRecord, look: str) -> Mapping[int, TileValues]:
        entries = [e for e in record.outputs if e.state == "graded" and e.look == look]
        for entry in entries:
            tiles = record.colour.tiles.get(entry.output)
            if isinstance(entry, DeliveredMovie) and tiles:
                return {t.frame: t.values for t in tiles}
        return {e.frame: e.tiles for e in entries if isinstance(e, DeliveredStill) and e.tiles}

    for look in ("", *one.looks):
        first, second = graded(one, look), graded(two, look)
        if common := sorted(first.keys() & second.keys()):
            break
    else:
        return None
    off = colour_difference.delta_e(*(np.array([tile_array(t[n]) for n in common]) for t in (first, second)))
    return None if np.isnan(off).all() else off


# --- reference frames from a monitor

_NAMED = re.compile(r"(?P<clip>.+?)[ _.-]+(?P<tc>\d{2}[.;:_-]?\d{2}[.;:_-]?\d{2}[.;:_-]?\d{2})$")
REFERENCE_TOLERANCE = 1.0  # mean CIEDE2000 over tiles, for a monitor frame that was scaled and made a JPEG
SHAPE_TOLERANCE = 0.02  # of width to height
_BY_NAME = "named by clip and timecode, such as A001C003_10.05.59.12.jpg"
PICTURES = {".jpg", ".jpeg", ".png", ".tif", ".tiff"}


def reference_frames(folder: Path) -> Iterator[tuple[Path, str, str]]:
    """Pictures by name: (path, clip stem, eight digits), the last two empty where the name is no clip and timecode.

    They never carry or apply a grade. OptionError where there is no such folder.
    """
    if not folder.is_dir():
        raise OptionError("is no folder of reference frames", file=str(folder))
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() in PICTURES and not path.name.startswith(".") and path.is_file():
            match = _NAMED.fullmatch(path.stem)
            yield (path, match["clip"], re.sub(r"\D", "", match["tc"])) if match else (path, "", "")


def against_references(folder: Path, references: Path) -> list[ReferenceVerdict]:
    """Reference frames against the graded frame at their timecode: mean CIEDE2000 of tiles, the worst first.

    Tiles are parts of the picture, whatever its raster: a frame may have been scaled. Of a clip's graded movies, the one
    with the least burn-in is taken, of the recipe's look where one has it. A picture whose name tells no clip and timecode is said and not compared.
    OptionError where the folder holds none with such a name.
    """
    frames = list(reference_frames(references))
    if not any(stem for _, stem, _ in frames):
        raise OptionError(f"holds no JPEG, PNG or TIFF {_BY_NAME}", file=str(references))
    by_stem = _movies_by_stem(delivered_clips(folder))
    rows: list[ReferenceVerdict] = []
    for path, stem, digits in frames:
        movies = by_stem.get(stem.lower(), [])
        having = [(original, entry) for original, entry in movies if _within(digits, entry)]
        originals = list(dict.fromkeys(original for original, _ in having))
        if not stem:
            rows.append(_untold(path, stem, f"is not {_BY_NAME}"))
        elif not movies:
            rows.append(_untold(path, stem, "no graded movie of this clip was delivered"))
        elif len(originals) > 1:
            text = f"{len(originals)} clips of this name have that timecode: {shortened(originals)}"
            rows.append(_untold(path, stem, text))
        else:
            try:
                rows.append(_against(folder, path, stem, digits, (having or movies)[0][1]))
            except Exception as error:
                rows.append(_untold(path, stem, unexpected(folder, f"comparing {path.name}", error)))
    return sorted(rows, key=lambda r: -(r.mean if r.mean is not None else 1e9))


def _movies_by_stem(records: Iterable[DeliveredRecord]) -> dict[str, list[tuple[str, DeliveredMovie]]]:
    """The movie of each clip that a reference is held against, with its original, by names that a picture may have of it; of one
    name the longest first, which is that of the whole clip."""
    found: dict[str, list[tuple[str, DeliveredMovie]]] = defaultdict(list)
    for record in records:
        movies = [e for e in record.outputs if isinstance(e, DeliveredMovie) and e.state == "graded"]
        named: dict[str, list[DeliveredMovie]] = defaultdict(list)
        for entry in movies:  # a template may name its file otherwise than its clip
            for stem in {Path(name).stem.lower() for name in (entry.path, record.clip.replace("\\", "/"))}:
                named[stem].append(entry)
        for stem, ours in named.items():
            found[stem].append((record.source.path, min(ours, key=lambda e: (e.look != "", len(e.covered)))))
    return {stem: sorted(each, key=lambda pair: -pair[1].frames) for stem, each in found.items()}


def _timecode(digits: str, entry: DeliveredMovie) -> tuple[str, int]:
    """Timecode of eight digits as a movie's rate writes it, and the movie's frame that has it. TimecodeError for what is none."""
    rate = FrameRate.parse(entry.rate)
    first = Timecode.parse(entry.first_timecode, rate)
    text = f"{digits[:2]}:{digits[2:4]}:{digits[4:6]}{';' if first.drop else ':'}{digits[6:]}"
    return text, first.until(Timecode.parse(text, rate))


def _within(digits: str, entry: DeliveredMovie) -> bool:
    try:
        return entry.card <= _timecode(digits, entry)[1] < entry.frames
    except RushlightError:
        return False


def _untold(path: Path, clip: str, text: str, timecode: str = "") -> ReferenceVerdict:
    """A reference frame that was not compared, and why."""
    row = ReferenceVerdict(
        reference=str(path), clip=clip, verdict="not compared", mean=None, worst=None, text=text
    )
    return row.model_copy(update={"timecode": timecode}) if timecode else row


def _against(folder: Path, path: Path, clip: str, digits: str, entry: DeliveredMovie) -> ReferenceVerdict:
    try:
        text, number = _timecode(digits, entry)
    except RushlightError as error:
        return _untold(path, clip, error.text)
    if not entry.card <= number < entry.frames:
        return _untold(path, clip, f"{text} lies outside the clip")
    try:
        facts = probe(path_of(folder, entry.path))
    except (OSError, RushlightError) as error:
        return _untold(path, clip, f"{entry.path}: {error}")
    display = find_display(entry.display or "")
    box = box_of(entry.picture)
    with open_source(facts) as source:
        image = next((frame.image for frame in source.frames(number, 1)), None)
    if image is None:
        return _untold(path, clip, f"{entry.path} has no picture there", text)
    made = colour_tiles.tile_lab(
        planes(image),
        facts.pixel_format,
        facts.levels_tag or "narrow",
        facts.matrix,
        display,
        box,
        [box_of(c) for c in entry.covered],
    )
    try:
        rgb = read_still(path)
    except RushlightError as error:
        return _untold(path, clip, error.text, text)
    if np.isnan(made).all():
        return _untold(path, clip, "burn-in covers all of the picture", text)
    area, note = _area(rgb.shape[1], rgb.shape[0], entry)
    off = colour_difference.delta_e(made, colour_tiles.tile_lab_rgb(rgb, display, area))
    return ReferenceVerdict(
        reference=str(path),
        clip=clip,
        verdict="matches" if float(np.nanmean(off)) <= REFERENCE_TOLERANCE else "differs",
        mean=round(float(np.nanmean(off)), 3),
        worst=round(float(np.nanmax(off)), 3),
        text=note,
        timecode=text,
    )


def _area(width: int, height: int, entry: DeliveredMovie) -> tuple[tuple[int, int, int, int], str]:
    """Area of the picture in a reference frame: all of it, or with the bars that the delivery has; and a
    note."""
    x, y, w, h = entry.picture
    shape = width / height
    if abs(shape * h / w - 1) <= SHAPE_TOLERANCE:
        return (0, 0, width, height), ""
    raster = (entry.width, entry.height)
    if abs(shape * raster[1] / raster[0] - 1) <= SHAPE_TOLERANCE:
        across, down = width / raster[0], height / raster[1]
        return (round(x * across), round(y * down), round(w * across), round(h * down)), ""
    return (0, 0, width, height), f"its shape differs: {width}x{height} against {w}x{h}"
