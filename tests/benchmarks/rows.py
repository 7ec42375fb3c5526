"""The measures. Each gives rows of a table: what, the figure, the goal, and what was measured beside it."""

from __future__ import annotations

import json
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.benchmarks import media
from tests.benchmarks.plain import ffmpeg
from tests.benchmarks.timing import Cost, alternating, timed

if TYPE_CHECKING:
    from rushlight.pipelines.colour.look import Look

__all__ = ["MEASURES", "Bench", "Row"]

UHD, HD = (3840, 2160), (1920, 1080)
EDITORIAL = ("editorial", "dnxhr-lb", "1920x1080")
VIEWING = ("viewing", "h264", "1280x720")
GRADE = 'slope = "1.10 1.00 0.95", offset = "0.01 0 -0.01", power = "1.02 1 0.98", saturation = "0.9"'
CONTAINER = {"dnxhr-lb": "mov", "h264": "mp4"}


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the table. `figure` is held to `goal` from above unless `at_least`."""

    what: str
    figure: float
    goal: float | None = None
    at_least: bool = False
    unit: str = "x"
    note: str = ""

    @property
    def met(self) -> bool | None:
        if self.goal is None:
            return None
        return self.figure >= self.goal if self.at_least else self.figure <= self.goal


@dataclass(frozen=True, kw_only=True)
class Bench:
    """Where to work, how often to run each contender, how long the clips are."""

    folder: Path
    runs: int = 3
    seconds: int = 20
    lived: tuple[int, ...] = (8, 60)  # of the clips that `overnight` is held against FFmpeg with
    long_seconds: int = 60
    clips: int = 60
    many: int = 1000
    grow: int = 5000

    def recipe(self, *outputs: tuple[str, str, str]) -> Path:
        """Movies of (name, codec, size) with running timecode burnt in and no sound."""
        path = self.folder / ("-".join(f"{codec}-{size}" for _, codec, size in outputs) + ".toml")
        text = ['description = "A benchmark"']
        for name, codec, size in outputs:
            text += [
                "[[output]]",
                f'name = "{name}"',
                'make = "movie"',
                f'codec = "{codec}"',
                f'container = "{CONTAINER[codec]}"',
                f'size = "{size}"',
                'sound = "none"',
                *(["quality = 20", 'preset = "veryfast"'] if codec == "h264" else []),
                "[output.burnin]",
                'text = [{ at = "bottom", text = "{timecode}", size = 0.05 }]',
            ]
        path.write_text("\n".join(text) + "\n")
        return path

    def clip_list(self, clips: list[Path]) -> Path:
        """Those originals with one grade."""
        path = self.folder / "list.csv"
        rows = [
            f"{c.name},{media.ENCODING},narrow,1.10 1.00 0.95,0.01 0 -0.01,1.02 1 0.98,0.9" for c in clips
        ]
        path.write_text("clip,encoding,levels,slope,offset,power,saturation\n" + "\n".join(rows) + "\n")
        return path

    def ours(
        self,
        clips: list[Path],
        recipe: str | Path,
        *,
        workers: int,
        cores: int | None = None,
        more: Sequence[str] = (),
    ) -> Cost:
        """`rushlight render`, whole: start, plan, bake, render, join, check, hash, report; with `more` options."""
        out = self.folder / "out"
        shutil.rmtree(out, ignore_errors=True)
        command = [*RUSHLIGHT, "render", str(self.clip_list(clips)), "--recipe", str(recipe)]
        command += ["--media", str(clips[0].parent), "--out", str(out), "--workers", str(workers), "--quiet"]
        return timed([[*command, *more]], cores=cores)

    def theirs(
        self, clips: list[Path], outputs: list[tuple[str, str, str]], *, tuned: bool, beside: bool = False
    ) -> Cost:
        """Plain FFmpeg over those clips: one after the other, or all side by side with an even share of cores."""
        cube = self.cube()
        commands = []
        for clip in clips:
            place = self.folder / "plain"
            place.mkdir(exist_ok=True)
            made = [
                (codec, size, place / f"{clip.stem}-{name}.{CONTAINER[codec]}")
                for name, codec, size in outputs
            ]
            commands.append(ffmpeg(clip, cube, made, tuned=tuned, threads=1 if beside else 0))
        if beside:
            return timed(commands)
        costs = [timed([command]) for command in commands]
        return Cost(wall=sum(c.wall for c in costs), cpu=sum(c.cpu for c in costs))

    def look(self) -> Look:
        """The exact look of every clip of the list."""
        from rushlight.pipelines.job.from_spec import build_look
        from tests.benchmarks.alone import spec_of

        clip = media.movie(self.folder, HD, 1)
        spec = spec_of(self.clip_list([clip]), str(self.recipe(EDITORIAL)), clip.parent, self.folder / "look")
        return build_look(spec.look, self.folder / "look")

    def cube(self) -> Path:
        """It as a 65-point .cube of the log signal, for `lut3d`."""
        path = self.folder / "look.cube"
        if not path.exists():
            from rushlight.batch.decisions.grade_export import look_luts

            path.write_text(look_luts(self.look(), size=65)[".cube"])
        return path

    def alone(self, what: str, clip: Path, recipe: Path, *more: str, cores: int = 1) -> dict[str, Any]:
        """`tests.benchmarks.alone`, on so many cores: what it measured of itself."""
        import os

        from rushlight.batch.farm.dask_cluster import ENVIRONMENT

        out = self.folder / f"alone-{what}"
        allowed = sorted(os.sched_getaffinity(0))[:cores]
        command = [
            sys.executable,
            "-m",
            "tests.benchmarks.alone",
            what,
            str(self.clip_list([clip])),
            str(recipe),
        ]
        run = subprocess.run(
            [*command, str(clip.parent), str(out), *more],
            capture_output=True,
            text=True,
            check=True,
            env={**os.environ, **ENVIRONMENT},  # a worker's
            preexec_fn=lambda: os.sched_setaffinity(0, allowed),
        )
        return json.loads(run.stdout)


RUSHLIGHT = [sys.executable, "-c", "from rushlight.batch.cli.main import main; main()"]
Measure = Callable[[Bench], Iterator[Row]]


def _beside(cost: dict[str, Cost]) -> str:
    return "; ".join(f"{name} {c.wall:.1f} s wall, {c.cpu:.1f} s CPU" for name, c in cost.items())


def against_ffmpeg(bench: Bench) -> Iterator[Row]:
    """1. Against plain FFmpeg, as a newcomer writes it and tuned; one clip, and two side by side."""
    for size, outputs, newcomer_goal, tuned_goal in (
        (UHD, [EDITORIAL, VIEWING], 0.45, 0.70),
        (HD, [EDITORIAL], None, 0.70),
        (HD, [("viewing", "h264", "1920x1080")], None, 0.70),
    ):
        clip = media.movie(bench.folder, size, bench.seconds)
        twin = clip.with_name(f"T{clip.name}")
        if not twin.exists():
            twin.hardlink_to(clip)
        recipe = bench.recipe(*outputs)
        what = f"{size[0]}x{size[1]} ProRes -> " + " + ".join(f"{s} {c}" for _, c, s in outputs)
        one = alternating(
            {
                "rushlight": partial(bench.ours, [clip], recipe, workers=2),
                "newcomer's FFmpeg": partial(bench.theirs, [clip], outputs, tuned=False),
                "tuned FFmpeg": partial(bench.theirs, [clip], outputs, tuned=True),
            },
            bench.runs,
        )
        ours = one["rushlight"].wall
        yield Row(
            what=f"{what}: wall against the newcomer's FFmpeg",
            figure=ours / one["newcomer's FFmpeg"].wall,
            goal=newcomer_goal,
            note=_beside(one),
        )
        yield Row(
            what=f"{what}: wall against tuned FFmpeg, one clip of {bench.seconds} s",
            figure=ours / one["tuned FFmpeg"].wall,
            goal=tuned_goal,
        )
        both = [clip, twin]
        two = alternating(
            {
                "rushlight": partial(bench.ours, both, recipe, workers=2),
                "two tuned FFmpegs": partial(bench.theirs, both, outputs, tuned=True, beside=True),
            },
            bench.runs,
        )
        yield Row(
            what=f"{what}: two clips, against two tuned FFmpegs side by side",
            figure=two["rushlight"].wall / two["two tuned FFmpegs"].wall,
            goal=tuned_goal,
            note=_beside(two),
        )


def against_bare(bench: Bench) -> Iterator[Row]:
    """2. Look, burn-in and log against decode, resize and encode alone, in one process on one core."""
    for size, outputs, goal in ((UHD, [EDITORIAL, VIEWING], 1.25), (HD, [EDITORIAL], 1.45)):
        clip, recipe = media.movie(bench.folder, size, bench.seconds), bench.recipe(*outputs)
        found: dict[str, list[dict[str, Any]]] = {"render": [], "bare": []}
        for _ in range(bench.runs):
            for what, runs in found.items():
                runs.append(bench.alone(what, clip, recipe))
        cpu = {what: statistics.median(r["cpu"] / r["frames"] for r in runs) for what, runs in found.items()}
        yield Row(
            what=f"{size[0]}x{size[1]} to {' + '.join(c for _, c, _ in outputs)}: CPU over a bare transcode",
            figure=cpu["render"] / cpu["bare"],
            goal=goal,
            note=f"a frame: {cpu['render'] * 1000:.1f} ms whole, {cpu['bare'] * 1000:.1f} ms bare",
        )


def workers(bench: Bench) -> Iterator[Row]:
    """3. One worker pinned to one core against two on two."""
    clip, recipe = media.movie(bench.folder, UHD, bench.long_seconds), bench.recipe(EDITORIAL, VIEWING)
    cost = alternating(
        {
            "one": lambda: bench.ours([clip], recipe, workers=1, cores=1),
            "two": lambda: bench.ours([clip], recipe, workers=2, cores=2),
        },
        bench.runs,
    )
    what = f"2 workers over 1 pinned to one core, a clip of {bench.long_seconds} s"
    yield Row(
        what=f"{what}: wall",
        figure=cost["one"].wall / cost["two"].wall,
        goal=1.85,
        at_least=True,
        note=_beside(cost),
    )
    yield Row(what=f"{what}: CPU", figure=cost["two"].cpu / cost["one"].cpu, goal=1.05)


def kernel(bench: Bench) -> Iterator[Row]:
    """4. The kernel alone on one core, by output format; with a grade and a photograph's pixels."""
    import numpy as np

    from rushlight.pipelines.formats.codecs import codec, siting
    from rushlight.pipelines.formats.pixel_formats import find_pixel_format
    from rushlight.pipelines.grading.bake import load_baked
    from rushlight.pipelines.grading.grader import Grader
    from rushlight.pipelines.job.from_spec import opened_facts
    from rushlight.pipelines.originals.frame_sources import open_source
    from rushlight.pipelines.originals.framing import Fit, placement
    from tests.benchmarks.alone import spec_of

    clip = media.movie(bench.folder, HD, 1)
    out = bench.folder / "kernel"
    spec = spec_of(bench.clip_list([clip]), str(bench.recipe(EDITORIAL)), clip.parent, out)
    facts = opened_facts(spec.source)
    source = open_source(facts)
    frame = next(iter(source.frames(0, 1))).image
    baked = load_baked(out / spec.baked["graded"])
    place = placement(Fit(width=1920, height=1080, mode="fit"), 1920, 1080)
    goals = {"h264": 20.0}
    for name in ("h264", "dnxhr-lb", "prores-proxy", "hevc-10"):
        try:
            which = codec(name)
        except Exception:
            continue
        target = find_pixel_format(which.pixel_format)
        assert target is not None
        from rushlight.pipelines.formats.codecs import Tags

        tags = Tags(primaries=1, transfer=1, matrix=1, levels="narrow")
        grader = Grader(
            baked,
            source=facts.pixel_format,
            source_levels="narrow",
            target=target,
            siting=siting(which, tags),
            width=1920,
            height=1080,
            placement=place,
        )
        grader.grade(frame, 0)
        took = []
        for number in range(30):
            start = time.thread_time()
            grader.grade(frame, number)
            took.append(time.thread_time() - start)
        yield Row(
            what=f"kernel, 1920x1080 {facts.pixel_format.name} to {target.name}, graded",
            figure=float(np.median(took)) * 1000,
            goal=goals.get(name),
            unit="ms",
        )
    source.close()


def starting(bench: Bench) -> Iterator[Row]:
    """5. Start-up: --help, the first delivered frame, and a finished list looked over again."""
    help_ = [timed([[*RUSHLIGHT, "--help"]]).wall for _ in range(max(5, bench.runs))]
    yield Row(what="rushlight --help", figure=statistics.median(help_), goal=0.3, unit="s")
    clip, recipe = media.movie(bench.folder, HD, 1), bench.recipe(EDITORIAL)
    first = [_first_segment(bench, clip, recipe) for _ in range(bench.runs)]
    yield Row(
        what="from the command to the first finished segment (48 frames of HD)",
        figure=statistics.median(first),
        unit="s",
    )
    folder = media.thousand(bench.folder, bench.many)
    out = bench.folder / "many-out"
    small = bench.folder / "small.toml"
    small.write_text(
        'description = "one still"\n[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\n'
        'at = ["first"]\nsize = "128x72"\n'
    )
    rows = "".join(f"A001C{n:04d},{media.ENCODING}\n" for n in range(1, bench.many + 1))
    (bench.folder / "many.csv").write_text("clip,encoding\n" + rows)
    command = [*RUSHLIGHT, "render", str(bench.folder / "many.csv"), "--recipe", str(small)]
    command += ["--media", str(folder), "--out", str(out), "--quiet"]
    once = timed([command])
    again = [timed([command]).wall for _ in range(bench.runs)]
    yield Row(
        what=f"a finished list of {bench.many} clips again",
        figure=statistics.median(again),
        goal=3.0,
        unit="s",
        note=f"the first time {once.wall:.0f} s",
    )


def _first_segment(bench: Bench, clip: Path, recipe: Path) -> float:
    """Seconds until a segment's file stands under its name."""
    out = bench.folder / "first"
    shutil.rmtree(out, ignore_errors=True)
    command = [*RUSHLIGHT, "render", str(bench.clip_list([clip])), "--recipe", str(recipe), "--quiet"]
    start = time.perf_counter()
    process = subprocess.Popen(
        [*command, "--media", str(clip.parent), "--out", str(out)], stdout=subprocess.DEVNULL
    )
    found = 0.0
    while process.poll() is None and not found:
        if any(p for p in out.glob(".work/**/*.mov") if not p.name.startswith(".")):
            found = time.perf_counter() - start
        time.sleep(0.005)
    process.wait()
    return found or time.perf_counter() - start


def memory(bench: Bench) -> Iterator[Row]:
    """6. Memory of a worker at 3840x2160, and its growth."""
    clip = media.movie(bench.folder, UHD, min(bench.seconds, 20))
    found = bench.alone("grow", clip, bench.recipe(EDITORIAL, VIEWING), str(bench.grow), cores=2)
    taken = found["memory"]
    yield Row(what="a worker's peak memory at 3840x2160", figure=found["peak"], goal=500, unit="MB")
    quarter = max(1, len(taken) // 4)
    early = statistics.median(m for _, m in taken[quarter : 2 * quarter] or taken)
    late = statistics.median(m for _, m in taken[-quarter:])
    yield Row(
        what=f"its growth over {taken[-1][0]} frames (last quarter over second)",
        figure=late - early,
        goal=10,
        unit="MB",
        note=f"{early:.0f} MB then {late:.0f} MB",
    )


def baking(bench: Bench) -> Iterator[Row]:
    """7. Baking a look."""
    from rushlight.pipelines.grading.bake import bake
    from rushlight.pipelines.job.from_spec import build_look
    from tests.benchmarks.alone import spec_of

    clip = media.movie(bench.folder, HD, 1)
    out = bench.folder / "bake"
    spec = spec_of(bench.clip_list([clip]), str(bench.recipe(EDITORIAL)), clip.parent, out)
    look = build_look(spec.look, out)
    took = []
    for _ in range(bench.runs):
        start = time.perf_counter()
        bake(look, "graded")
        took.append(time.perf_counter() - start)
    yield Row(what="baking a look with ACES 2.0, 65 points a side", figure=statistics.median(took), unit="s")


def whole_day(bench: Bench) -> Iterator[Row]:
    """8. A made-up day: a third of its clips in 3840x2160, the others HD, by the overnight recipe."""
    seconds = max(2, bench.seconds // 4)
    folder = media.day(bench.folder, bench.clips, seconds)
    cost = bench.ours(sorted(folder.glob("*.mov")), "overnight", workers=2)
    hours = bench.clips * seconds / 3600
    yield Row(
        what=f"originals an hour, a day of {bench.clips} clips of {seconds} s, overnight recipe",
        figure=hours / (cost.wall / 3600),
        unit="h/h",
        note=f"{cost.wall:.0f} s wall, {cost.cpu:.0f} s CPU",
    )


def planning(bench: Bench) -> Iterator[Row]:
    """8. `plan` of many clips: distinct files of one second on five cards, headers on a local disk, grades by name."""
    short = media.movie(bench.folder, (256, 144), 1)
    names = [f"{'ABCDE'[n % 5]}{n // 500 + 1:03}C{n // 5 % 100:03}" for n in range(2 * bench.many)]
    for name in names:
        place = bench.folder / "many" / name[:4] / f"{name}.mov"
        place.parent.mkdir(parents=True, exist_ok=True)
        if not place.exists():
            shutil.copyfile(short, place)
    (bench.folder / "many.csv").write_text("clip,encoding\n" + "".join(f"{n},LogC3\n" for n in names))
    grades = bench.folder / "many.grades.csv"
    grades.write_text("id,saturation\n" + "".join(f"{n},0.9\n" for n in names))
    command = [*RUSHLIGHT, "plan", str(bench.folder / "many.csv"), "--media", str(bench.folder / "many")]
    cost = alternating({"plan": lambda: timed([[*command, "--grades", str(grades)]], cores=2)}, bench.runs)
    yield Row(
        what=f"plan of {len(names)} clips", figure=cost["plan"].wall, goal=10, unit="s", note=_beside(cost)
    )


MEASURES: dict[str, Measure] = {
    "ffmpeg": against_ffmpeg,
    "bare": against_bare,
    "workers": workers,
    "kernel": kernel,
    "start": starting,
    "memory": memory,
    "bake": baking,
    "day": whole_day,
    "plan": planning,
}
