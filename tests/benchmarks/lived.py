"""The measures that a user lives: whole nights, as they are typed. Each gives rows of the table."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from tests.benchmarks import media
from tests.benchmarks.plain import overnight as plain_overnight
from tests.benchmarks.rows import HD, RUSHLIGHT, UHD, Bench, Measure, Row
from tests.benchmarks.timing import Cost, median_ratio, middle, taking_turns, timed

__all__ = ["LIVED", "in_marked_cells"]

ROOT = Path(__file__).resolve().parents[2]
GOALS = {8: 1.00, 60: 0.85}
SEQUENCE = 24  # frames of a DPX or EXR sequence


def _cores() -> int:
    return len(os.sched_getaffinity(0))


def _beside(costs: dict[str, list[Cost]], frames: int) -> str:
    each = {name: middle(found) for name, found in costs.items()}
    return "; ".join(
        f"{n} {c.wall:.1f} s wall, {1e3 * c.cpu / frames:.0f} ms CPU a frame" for n, c in each.items()
    )


def overnight(bench: Bench) -> Iterator[Row]:
    """9. `overnight`, stills and all, of one 3840x2160 clip, against one tuned FFmpeg of the same movies without stills."""
    for seconds in bench.lived:
        clip = media.movie(bench.folder, UHD, seconds)
        place = bench.folder / "plain"
        place.mkdir(exist_ok=True)
        command = plain_overnight(clip, bench.cube(), place)
        costs = taking_turns(
            {
                "rushlight": partial(bench.ours, [clip], "overnight", workers=_cores()),
                "tuned FFmpeg": lambda command=command: timed([command]),
            },
            bench.runs,
        )
        yield Row(
            what=f"overnight of one 3840x2160 clip of {seconds} s: wall against tuned FFmpeg, median of ratios",
            figure=median_ratio(costs["rushlight"], costs["tuned FFmpeg"]),
            goal=GOALS.get(seconds),
            note=_beside(costs, seconds * media.RATE),
        )


def sample_day(bench: Bench) -> Iterator[Row]:
    """10. The README's sample day: cold, with nothing compiled or kept, and warm."""
    with tempfile.TemporaryDirectory(dir=bench.folder) as name:
        kept = Path(name)

        def night(*, cold: bool) -> Cost:
            if cold:
                shutil.rmtree(kept, ignore_errors=True)
            out = bench.folder / "out"
            shutil.rmtree(out, ignore_errors=True)
            command = [*RUSHLIGHT, "render", str(ROOT / "sample_frames" / "day.csv"), "--recipe", "overnight"]
            places = {"NUMBA_CACHE_DIR": "compiled", "XDG_CACHE_HOME": "cache", "XDG_STATE_HOME": "state"}
            env = [f"{variable}={kept / folder}" for variable, folder in places.items()]
            return timed([["env", *env, *command, "--out", str(out), "--quiet"]])

        costs = taking_turns(
            {"cold": partial(night, cold=True), "warm": partial(night, cold=False)}, bench.runs
        )
    for state, goal in (("warm", 15), ("cold", 40)):
        cost = middle(costs[state])
        note = f"{cost.cpu:.0f} s CPU"
        yield Row(what=f"the sample day, {state}", figure=cost.wall, goal=goal, unit="s", note=note)


def sequences(bench: Bench) -> Iterator[Row]:
    """11. EXR and DPX sequences of one raster to DNxHR LB."""
    recipe = bench.recipe(("editorial", "dnxhr-lb", "1920x1080"))
    rendered: dict[str, Callable[[], Cost]] = {}
    for kind, encoding in (("dpx", media.ENCODING), ("exr", "ACEScg")):
        folder = media.sequence(bench.folder, HD, SEQUENCE, kind)
        listed = bench.folder / f"{kind}.csv"
        levels = "full"
        listed.write_text(f"clip,encoding,levels\n{folder.name},{encoding},{levels}\n")
        out = bench.folder / f"out-{kind}"
        command = [*RUSHLIGHT, "render", str(listed), "--recipe", str(recipe), "--media", str(folder.parent)]
        command += ["--out", str(out), "--workers", str(_cores()), "--quiet"]

        def night(command: list[str] = command, out: Path = out) -> Cost:
            shutil.rmtree(out, ignore_errors=True)
            return timed([command])

        rendered[kind] = night
    costs = taking_turns(rendered, bench.runs)
    cpu = {kind: middle(found).cpu for kind, found in costs.items()}
    yield Row(
        what=f"EXR over DPX, {SEQUENCE} frames of {HD[0]}x{HD[1]}: CPU of the whole night",
        figure=cpu["exr"] / cpu["dpx"],
        goal=2.5,
        note=_beside(costs, SEQUENCE),
    )


def more_workers(bench: Bench) -> Iterator[Row]:
    """12. A day by 1, 2, 4, 8 and 16 workers, as far as there are cores; FFmpeg as many at once as cores beside it."""
    seconds = max(2, bench.seconds // 4)
    clips = sorted(media.day(bench.folder, bench.clips, seconds).glob("*.mov"))
    counts = [n for n in (1, 2, 4, 8, 16) if n <= _cores()]
    once = replace(bench, runs=1)
    walls: dict[int, Cost] = {}
    for workers in counts:
        walls[workers] = once.ours(clips, "overnight", workers=workers)
        cost = walls[workers]
        frames = len(clips) * seconds * media.RATE
        yield Row(
            what=f"a day of {len(clips)} clips of {seconds} s, {workers} workers: frames a second",
            figure=frames / cost.wall,
            unit="/s",
            note=f"{cost.wall:.0f} s wall, {1e3 * cost.cpu / frames:.0f} ms CPU a frame, {walls[1].wall / cost.wall:.2f} times one worker",
        )
    place = bench.folder / "plain"
    place.mkdir(exist_ok=True)
    theirs = timed_many(
        [plain_overnight(clip, bench.cube(), place, threads=1) for clip in clips], at_once=_cores()
    )
    yield Row(
        what=f"the same day, {_cores()} workers: wall against {_cores()} tuned FFmpegs of one thread at a time, without stills",
        figure=once.ours(clips, "overnight", workers=_cores()).wall / theirs.wall,
        note=f"FFmpeg {theirs.wall:.0f} s wall, {theirs.cpu:.0f} s CPU",
    )


def timed_many(commands: list[list[str]], *, at_once: int) -> Cost:
    """So many of the commands at a time, until all are done: the shell's own `xargs` gives them out."""
    from shlex import join

    with tempfile.NamedTemporaryFile("w", suffix=".txt") as listed:
        listed.write("\0".join(join(command) for command in commands))
        listed.flush()
        return timed([["xargs", "-0", "-a", listed.name, "-P", str(at_once), "-I", "{}", "sh", "-c", "{}"]])


def saturated(bench: Bench) -> Iterator[Row]:
    """13. The kernel's worst frame, a saturated light that fills it, against a grey one, one core."""
    from rushlight.pipelines.colour.camera_encodings import find_encoding
    from rushlight.pipelines.colour.displays import find_display
    from rushlight.pipelines.colour.look import Look
    from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes
    from rushlight.pipelines.grading.bake import bake
    from rushlight.pipelines.grading.grader import Grader
    from rushlight.pipelines.originals.framing import Fit, placement
    from tests.benchmarks.timing import thread_ms

    baked = bake(Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886")))
    source, target = find_pixel_format("yuv422p10le"), find_pixel_format("yuv420p")
    assert source is not None and target is not None
    grader = Grader(
        baked, source=source, source_levels="narrow", target=target, width=HD[0], height=HD[1],
        placement=placement(Fit(width=HD[0], height=HD[1]), *HD),
    )  # fmt: skip
    rng, took = np.random.default_rng(0), {}
    for name, spread in (("grey", (30, 2, 2)), ("noise", (90, 60, 60)), ("light", (4, 4, 4))):
        frame, middle_of = new_frame(source, *HD), (420, 512, 512)
        if name == "light":
            middle_of = in_marked_cells(baked)
        for plane, value, wide in zip(planes(frame), middle_of, spread, strict=True):
            plane[:] = np.clip(rng.normal(value, wide, plane.shape), 4, 1019)
        took[name] = thread_ms(partial(grader.grade, frame, 0), bench.runs * 3)
    yield Row(
        what="kernel, HD: a saturated light over a grey frame that is nowhere evaluated directly",
        figure=took["light"] / took["grey"],
        goal=5,
        note="; ".join(f"{name} {ms:.0f} ms" for name, ms in took.items()),
    )


def in_marked_cells(baked: object) -> tuple[int, int, int]:
    """Y'CbCr codes, 10 bits narrow, with marked lattice points all about them."""
    from scipy.ndimage import distance_transform_edt

    from rushlight.pipelines.colour.interpolation import tetrahedral
    from rushlight.pipelines.grading.bake import Baked

    assert isinstance(baked, Baked)
    grid = np.meshgrid(*(np.arange(64, 961, 16),) * 3, indexing="ij")
    y, b, r = (grid[0] - 64) / 876, (grid[1] - 512) / 896, (grid[2] - 512) / 896
    code = np.stack([y + 1.5748 * r, y - 0.1873 * b - 0.4681 * r, y + 1.8556 * b], -1)
    share = tetrahedral(baked.lattice.astype(np.float64), baked.position(code.reshape(-1, 3)))[:, 3]
    inside = ((code > -0.05) & (code < 1.08)).all(-1) & (share > 0).reshape(grid[0].shape)
    at = np.unravel_index(distance_transform_edt(inside).argmax(), inside.shape)
    return int(grid[0][at]), int(grid[1][at]), int(grid[2][at])


LIVED: dict[str, Measure] = {
    "overnight": overnight,
    "sample": sample_day,
    "sequences": sequences,
    "more": more_workers,
    "light": saturated,
}
