"""Deliveries against something else: another render of the same list, or reference frames from a monitor.

Reference frames never carry or apply a grade: they are looked at, and mismatches are ranked.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rushlight.batch.colourcheck import tile_array
from rushlight.batch.verify import delivered_clips
from rushlight.pipelines import measure
from rushlight.pipelines.display import find_display
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.pixels import planes
from rushlight.pipelines.probe import probe
from rushlight.pipelines.sources import open_source
from rushlight.pipelines.stills import read_still
from rushlight.pipelines.timecode import FrameRate, Timecode

__all__ = ["against_references", "compare", "reference_frames"]

Array = NDArray[np.float64]


def compare(folder: Path, other: Path) -> list[dict[str, Any]]:
    """Clips of two output folders, by name: whose colour differs, and by how much; the largest first.

    Patches are compared always, tiles where both delivered the same frames of the same state.
    """
    theirs = {r["clip"]: r for r in delivered_clips(other)}
    rows: list[dict[str, Any]] = []
    for record in delivered_clips(folder):
        match = theirs.pop(record["clip"], None)
        if match is None:
            rows.append({"clip": record["clip"], "verdict": "only here", "patches": None, "tiles": None})
            continue
        names = record["colour"]["patches"]
        labs = [np.array([r["colour"]["patches"][n]["lab"] for n in names]) for r in (record, match)]
        patches = measure.delta_e(*labs)
        tiles = _common_tiles(record, match)
        same = record["look"]["digest"] == match["look"]["digest"]
        moved = float(patches.max()) > 0.01 or (tiles is not None and float(np.nanmean(tiles)) > 0.3)
        rows.append(
            {
                "clip": record["clip"],
                "verdict": "colour differs" if moved else "same colour",
                "same_look": same,
                "patches": {"mean": round(float(patches.mean()), 4), "worst": round(float(patches.max()), 4)},
                "tiles": None
                if tiles is None
                else {"mean": round(float(np.nanmean(tiles)), 4), "worst": round(float(np.nanmax(tiles)), 4)},
            }
        )
    rows += [{"clip": clip, "verdict": "only there", "patches": None, "tiles": None} for clip in theirs]
    return sorted(rows, key=lambda r: -(r["patches"] or {"worst": 1e9})["worst"])


def _common_tiles(one: Mapping[str, Any], two: Mapping[str, Any]) -> Array | None:
    def graded(record: Mapping[str, Any]) -> Mapping[int, Any]:
        for entry in record["outputs"]:
            if (
                entry["kind"] == "movie"
                and entry["state"] == "graded"
                and record["colour"]["tiles"].get(entry["output"])
            ):
                return {t["frame"]: t["values"] for t in record["colour"]["tiles"][entry["output"]]}
        return {}

    first, second = graded(one), graded(two)
    common = sorted(first.keys() & second.keys())
    if not common:
        return None
    return measure.delta_e(*(np.array([tile_array(t[n]) for n in common]) for t in (first, second)))


# --- reference frames from a monitor

_NAMED = re.compile(r"(?P<clip>.+?)[ _.-]+(?P<tc>\d{2}[.;:_-]?\d{2}[.;:_-]?\d{2}[.;:_-]?\d{2})$")
PICTURES = {".jpg", ".jpeg", ".png", ".tif", ".tiff"}


def reference_frames(folder: Path) -> Iterator[tuple[Path, str, str]]:
    """Files named by clip and timecode: (path, clip stem, eight digits). They never carry or apply a grade."""
    for path in sorted(folder.rglob("*")):
        match = _NAMED.fullmatch(path.stem)
        if path.suffix.lower() in PICTURES and match and not path.name.startswith("."):
            yield path, match["clip"], re.sub(r"\D", "", match["tc"])


def against_references(folder: Path, references: Path) -> list[dict[str, Any]]:
    """Reference frames against the graded frame at their timecode: mean CIEDE2000 of tiles, the worst first."""
    by_stem = {
        Path(e["path"]).stem.lower(): (r, e)
        for r in delivered_clips(folder)
        for e in r["outputs"]
        if e["kind"] == "movie" and e["state"] == "graded"
    }
    rows: list[dict[str, Any]] = []
    for path, stem, digits in reference_frames(references):
        pair = by_stem.get(stem.lower())
        row: dict[str, Any] = {"reference": str(path), "clip": stem, "mean": None, "worst": None, "text": ""}
        if pair is None:
            row["text"] = "no graded movie of this clip was delivered"
        else:
            row |= _against(folder, path, digits, *pair)
        rows.append(row)
    return sorted(rows, key=lambda r: -(r["mean"] if r["mean"] is not None else 1e9))


def _against(
    folder: Path, path: Path, digits: str, record: Mapping[str, Any], entry: Mapping[str, Any]
) -> dict[str, Any]:
    rate = FrameRate.parse(entry["rate"])
    first = Timecode.parse(entry["first_timecode"], rate)
    text = f"{digits[:2]}:{digits[2:4]}:{digits[4:6]}{';' if first.drop else ':'}{digits[6:]}"
    try:
        number = first.until(Timecode.parse(text, rate))
    except RushlightError as error:
        return {"text": error.text}
    if not entry.get("card", 0) <= number < entry["frames"]:
        return {"text": f"{text} lies outside the clip"}
    facts = probe(folder / entry["path"])
    display = find_display(entry["display"])
    box = tuple(entry["picture"])
    with open_source(facts) as source:
        image = next(iter(source.frames(number, 1))).image
    made = measure.tile_lab(
        planes(image),
        facts.pixel_format,
        facts.levels_tag or "narrow",
        facts.matrix,
        display,
        box,
        [tuple(c) for c in entry["covered"]],
    )
    rgb = read_still(path)
    seen = measure.tile_lab_rgb(rgb, display, (0, 0, rgb.shape[1], rgb.shape[0]))
    off = measure.delta_e(made, seen)
    return {
        "timecode": text,
        "mean": round(float(np.nanmean(off)), 3),
        "worst": round(float(np.nanmax(off)), 3),
        "text": "",
    }
