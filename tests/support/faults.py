"""python tests/support/faults.py [--keep FOLDER] [--clips N] [--size WxH]… [--codec NAME[:QUALITY]]…: what codecs move colour
by, and what wrong colour does.

Renders the real originals (960x540, one second) by every codec at the lowest quality that a shipped recipe asks for,
once right and once for each wrong grade; measures every delivery against the log of the right one, as `verify` does; and
prints, a codec and fault, the least and most of the mean over clips, the most of the 95th percentile and worst
CIEDE2000, the least and most share of a known fault, and the verdicts. A mixed-up matrix, mixed-up
levels, a LUT applied twice and swapped clips are made of the right deliveries: by reading them so.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from here import rushlight
from ocio import through_file
from real import originals
from rushlight.batch.records.files import DeliveredStill, OutputFile
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.verify import deliveries
from rushlight.batch.verify.colour_check import colour_check
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.formats.codecs import CODECS
from rushlight.pipelines.formats.pixel_formats import planes
from rushlight.pipelines.measure import colour_tiles
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.outputs.stills import read_still

SAMPLES = Path(__file__).resolve().parents[2] / "sample_frames"
LOWEST = {"hevc": 26}  # recipe `remote`; the other codecs at their defaults, as the shipped recipes have them
GRADES = {
    "none": "1.06 1 0.97,0 0 0.004,1.02 1 1,1.08",
    "saturation 0.05": "1.06 1 0.97,0 0 0.004,1.02 1 1,1.13",
    "slope 0.02": "1.08 1 0.97,0 0 0.004,1.02 1 1,1.08",
    "missing CDL": ",,,",
}
READ_SO = ("601/709", "narrow/full", "LUT twice", "swapped clips")


@dataclass(frozen=True, kw_only=True)
class Found:
    """One delivery measured: figures and verdict of verify's colour check."""

    fault: str
    codec: str
    clip: str
    verdict: str
    mean: float
    p95: float
    worst: float
    share: float  # the most of any known fault that the difference holds
    sense: float  # the least of what the log says that a small wrong grade would do


def recipe(codecs: list[str], sizes: tuple[str, ...] = ("960x540",), *, stills: bool = True) -> str:
    """One output a codec (or `codec:quality`) and size, and the stills."""
    parts = []
    for given, size in ((c, s) for s in sizes for c in codecs):
        name, _, asked = given.partition(":")
        size = "1280x720" if name == "dnxhd" else size
        quality = f"quality = {asked or LOWEST[name]}\n" if asked or name in LOWEST else ""
        label = given.replace(":", "-q") + (f" {size}" if len(sizes) > 1 else "")
        parts.append(
            f'[[output]]\nname = "{label}"\nmake = "movie"\ncodec = "{name}"\nsize = "{size}"\n{quality}'
        )
    if stills:
        parts.append(
            '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg", "png8", "tiff16"]\n'
            f'size = "{sizes[0]}"\n'
        )
    return "\n".join(parts)


def rendered(
    folder: Path,
    grade: str,
    codecs: list[str],
    clips: int,
    *,
    sizes: tuple[str, ...] = ("960x540",),
    stills: bool = True,
    seconds: float = 1.0,
    workers: int = 2,
) -> Path:
    """The real originals through that grade; every second clip through a show LUT, the others through ACES."""
    media, truth = originals(seconds)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "all.toml").write_text(recipe(codecs, sizes, stills=stills))
    names = {"ARRI LogC3 (EI800)": "LogC3"}
    rows = [
        f"{t['file']},{names.get(t['encoding'], t['encoding'])},{t['levels']},{grade},"
        f"{'farrow.cube' if k % 2 else ''}"
        for k, t in enumerate(truth[:clips])
    ]
    head = "clip,encoding,levels,slope,offset,power,saturation,lut\n"
    (folder / "farrow.cube").write_text((SAMPLES / "farrow.cube").read_text())
    (folder / "day.csv").write_text(head + "\n".join(rows) + "\n")
    call = ("--media", media, "--recipe", folder / "all.toml", "--out", folder / "out", "--workers", workers)
    run = rushlight("render", folder / "day.csv", *call, "--quiet")
    assert run.returncode == 0, run.stdout + run.stderr
    return folder / "out"


def distributions(
    folder: Path,
    codecs: list[str],
    clips: int = 7,
    *,
    sizes: tuple[str, ...] = ("960x540",),
    stills: bool = True,
    leave_out: tuple[str, ...] = (),
    seconds: float = 1.0,
    workers: int = 2,
) -> list[Found]:
    """Every delivery, right and under every fault, as verify's colour check finds it."""
    outs = {
        fault: rendered(
            folder / fault.replace(" ", "-"),
            grade,
            codecs,
            clips,
            sizes=sizes,
            stills=stills,
            seconds=seconds,
            workers=workers,
        )
        for fault, grade in GRADES.items()
        if fault not in leave_out
    }
    right = {r.clip: r for r in deliveries.delivered_clips(outs["none"])}
    names = list(right)
    rows: list[Found] = []
    for place, record in enumerate(right.values()):
        other = names[(place + 1) % len(names)]
        for entry in record.outputs:
            for fault, out in outs.items():
                rows.append(_found(fault, entry, record, _tiles(out, entry, entry)))
            for fault in READ_SO:
                if fault == "LUT twice" and not place % 2:
                    continue
                if entry.kind == "still" and fault in ("601/709", "narrow/full"):
                    continue
                if fault == "swapped clips":
                    twin = next(e for e in right[other].outputs if _kind(e) == _kind(entry))
                    tiles = _tiles(outs["none"], twin, entry)
                else:
                    tiles = _tiles(outs["none"], entry, entry, fault)
                rows.append(_found(fault, entry, record, tiles))
    return rows


def _kind(entry: OutputFile) -> tuple[str, str]:
    return entry.output, entry.still_kind if isinstance(entry, DeliveredStill) else ""


def _wanted(entry: OutputFile, record: DeliveredRecord) -> dict[int, Any]:
    if isinstance(entry, DeliveredStill):
        return {0: entry.tiles}
    return {t.frame - record.first_frame: t.values for t in record.colour.tiles[entry.output]}


def _found(fault: str, entry: OutputFile, record: DeliveredRecord, tiles: dict[int, Any]) -> Found:
    check = colour_check(_wanted(entry, record), tiles, entry, record)
    return Found(
        fault=fault,
        codec=_kind(entry)[1] or entry.output,
        clip=record.clip,
        verdict=check.verdict,
        mean=check.mean,
        p95=check.p95,
        worst=check.worst,
        share=max((abs(v) for v in (check.shares or {}).values()), default=float("nan")),
        sense=min(record.colour.sensitivity.values()),
    )


def _tiles(out: Path, entry: OutputFile, logged: OutputFile, fault: str = "") -> dict[int, Any]:
    """Tiles of a delivered file, read right or, for the faults of READ_SO, wrong."""
    display, box = find_display(entry.display), tuple(entry.picture)
    found = {}
    for number, rgb in _pictures(out / entry.path, entry, fault):
        seen = _twice(rgb) if fault == "LUT twice" else rgb
        found[number] = colour_tiles.tile_lab_rgb(seen, display, box)
    return found


def _pictures(path: Path, entry: OutputFile, fault: str) -> Iterator[tuple[int, Any]]:
    if entry.kind == "still":
        yield 0, read_still(path)
        return
    facts = probe(path)
    matrix = {1: 5, 5: 1}[facts.matrix] if fault == "601/709" else facts.matrix
    levels = facts.levels_tag or "narrow"
    if fault == "narrow/full":
        levels = "full" if levels == "narrow" else "narrow"
    wanted = colour_tiles.sampled_frames(facts.frames, facts.rate.fraction)
    with open_source(facts) as source:
        for frame in source.frames(0, facts.frames):
            if frame.number in wanted:
                views = planes(frame.image)
                yield frame.number, colour_tiles.display_rgb(views, facts.pixel_format, levels, matrix)


def _twice(rgb: Any) -> Any:
    return np.clip(through_file(np.clip(rgb, 0, 1), SAMPLES / "farrow.cube"), 0, 1)


def table(rows: list[Found]) -> Iterator[str]:
    """One line a codec and fault: the range over clips of the mean, the most of p95 and worst, the verdicts."""
    yield f"{'codec':<20} {'fault':<16} {'mean':^15} {'95 %':>6} {'worst':>6} {'share':^13}  verdicts"
    for codec in dict.fromkeys(r.codec for r in rows):
        for fault in dict.fromkeys(r.fault for r in rows):
            part = [r for r in rows if (r.codec, r.fault) == (codec, fault)]
            if part:
                means, shares = [r.mean for r in part], [r.share for r in part if r.share == r.share]
                span = f"{min(shares):5.2f} - {max(shares):5.2f}" if shares else ""
                verdicts = ", ".join(f"{n} {v}" for v, n in sorted(Counter(r.verdict for r in part).items()))
                yield (
                    f"{codec:<20} {fault:<16} {min(means):6.3f} - {max(means):6.3f} {max(r.p95 for r in part):6.2f} "
                    f"{max(r.worst for r in part):6.2f} {span:<13}  {verdicts}"
                )


def main() -> None:
    parser = argparse.ArgumentParser(prog="python tests/support/faults.py", description=__doc__)
    parser.add_argument("--keep", type=Path, help="a folder for what is rendered, kept for the next run")
    parser.add_argument("--clips", type=int, default=7, help="how many of the originals")
    parser.add_argument(
        "--codec", action="append", metavar="NAME[:QUALITY]", help="only this codec; repeatable"
    )
    parser.add_argument("--size", action="append", metavar="WxH", help="a raster, without stills; repeatable")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--rows", action="store_true", help="print every delivery, too")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="rushlight-faults-") as scratch:
        rows = distributions(
            given.keep or Path(scratch),
            given.codec or list(CODECS),
            given.clips,
            sizes=tuple(given.size or ["960x540"]),
            stills=not given.size,
            workers=given.workers,
        )
    print("\n".join(table(rows)))
    if given.rows:
        for r in sorted(rows, key=lambda r: (r.codec, r.clip, r.fault)):
            print(
                f"{r.codec:<20} {r.clip:<14} {r.fault:<16} {r.mean:7.3f} {r.p95:7.3f} {r.worst:7.3f} "
                f"share {r.share:.3f} sense {r.sense:.3f}  {r.verdict}"
            )


if __name__ == "__main__":
    main()
