"""python -m tests.benchmarks.card_nights [--recipe editorial] [--workers 16] [--clips 2] [--seconds 4] [--keep FOLDER]
                                       [--uhd] [--light]

Whole nights of HD originals (or 3840x2160; of a photograph, or of one saturated light that fills them) with and without the
card, and FFmpeg as many at once as workers, each of one thread: frames a second, and milliseconds of processor a frame, of all
processes of the night. Clips are so many for each worker. Options may be given more than once.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from itertools import product
from pathlib import Path

from rushlight.pipelines.grading.bake import bake
from tests.benchmarks import media
from tests.benchmarks.lived import in_marked_cells, timed_many
from tests.benchmarks.plain import ffmpeg
from tests.benchmarks.plain import overnight as plain_overnight
from tests.benchmarks.rows import HD, UHD, Bench
from tests.benchmarks.timing import Cost

RATIO, SPEED = 0.65, 1.4  # what is held to, with all cores at work


def originals(original: Path, clips: int) -> list[Path]:
    """So many names of one original."""
    place = original.parent / f"night-{original.stem}x{clips}"
    place.mkdir(exist_ok=True)
    for number in range(1, clips + 1):
        clip = place / f"A001C{number:03d}.mov"
        if not clip.exists():
            clip.hardlink_to(original)
    return sorted(place.glob("*.mov"))


def photograph(bench: Bench, size: tuple[int, int], seconds: int) -> Path:
    return media.movie(bench.folder, size, seconds)


def saturated(bench: Bench, size: tuple[int, int], seconds: int) -> Path:
    """An original filled by a light in whose colour the night's look is evaluated directly."""
    codes = in_marked_cells(bake(bench.look()))
    return media.light(bench.folder, size, seconds, codes)


def by_ffmpeg(bench: Bench, recipe: str, clips: list[Path], at_once: int) -> Cost:
    place = bench.folder / "plain"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    cube = bench.cube()
    if recipe == "overnight":
        commands = [plain_overnight(clip, cube, place, threads=1) for clip in clips]
    else:
        movie = "dnxhr-lb", "1920x1080"
        commands = [
            ffmpeg(clip, cube, [(*movie, place / f"{clip.stem}.mov")], tuned=True, threads=1)
            for clip in clips
        ]
    return timed_many(commands, at_once=at_once)


def told(what: str, cost: Cost, frames: int, more: str = "") -> None:
    print(
        f"  {what:<28} {frames / cost.wall:7.1f} frames/s  {1e3 * cost.cpu / frames:7.1f} ms CPU a frame  {cost.wall:6.1f} s {more}",
        flush=True,
    )


def night(bench: Bench, recipe: str, workers: int, given: argparse.Namespace) -> None:
    size, made = UHD if given.uhd else HD, saturated if given.light else photograph
    clips = originals(made(bench, size, given.seconds), given.clips * workers)
    frames = len(clips) * given.seconds * media.RATE
    print(
        f"\n{recipe}, {workers} workers, {len(clips)} clips of {given.seconds} s, {frames} frames", flush=True
    )
    costs: dict[str, Cost] = {}
    for graphics in given.graphics:
        costs[graphics] = bench.ours(clips, recipe, workers=workers, more=("--graphics", graphics))
        told(f"--graphics {graphics}", costs[graphics], frames)
    if "off" in costs and "auto" in costs:
        print(
            f"  CPU with over without: {costs['auto'].cpu / costs['off'].cpu:.3f} (held to {RATIO})",
            flush=True,
        )
    if not given.no_ffmpeg:
        plain = by_ffmpeg(bench, recipe, clips, workers)
        told(f"FFmpeg, {workers} at once", plain, frames, "(no stills, no report)")
        for graphics, cost in costs.items():
            print(
                f"  {graphics}: {plain.wall / cost.wall:.2f} times FFmpeg's frames a second (held to {SPEED})",
                flush=True,
            )


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.card_nights", description=__doc__)
    parser.add_argument("--recipe", action="append")
    parser.add_argument("--workers", action="append", type=int)
    parser.add_argument("--graphics", action="append", choices=["off", "auto", "require"])
    parser.add_argument("--clips", type=int, default=2, help="for each worker")
    parser.add_argument("--seconds", type=int, default=4, help="of each clip")
    parser.add_argument("--uhd", action="store_true", help="originals of 3840x2160")
    parser.add_argument("--light", action="store_true", help="filled by one saturated light")
    parser.add_argument("--no-ffmpeg", action="store_true")
    parser.add_argument("--keep", type=Path, help="a folder for the originals made, kept for the next run")
    given = parser.parse_args()
    given.graphics = given.graphics or ["off", "auto"]
    folder = given.keep or Path(tempfile.mkdtemp(prefix="rushlight-card-"))
    folder.mkdir(parents=True, exist_ok=True)
    bench = Bench(folder=folder.absolute(), runs=1)
    try:
        for recipe, workers in product(
            given.recipe or ["editorial", "overnight"], given.workers or [16, 8, 4, 1]
        ):
            night(bench, recipe, workers, given)
    finally:
        if not given.keep:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
