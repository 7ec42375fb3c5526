"""`kill -9` of the runner, of a worker or of all of them, at random moments of real renders.

After every kill the same command is given again. Whatever is hit: nothing half under a final name, no clip
lost, none made twice, no finished segment rendered again, the bytes of a night that nobody disturbed, and what its log,
report and manifest say.
"""

import contextlib
import glob
import json
import random
import re
import sqlite3
import time
from collections import Counter
from fractions import Fraction
from pathlib import Path
from subprocess import Popen
from typing import Any

import psutil
import pytest

from command import rushlight, started
from logged import latest, read_records
from pictures import numbered, write_movie
from rushlight.batch.report.clip_tables import TABLES

CLIPS = {"A001C001": 200, "A001C002": 144, "A001C003": 96}  # frames at 24; half as many at 12
SEGMENTS = {f"{clip}.mov": -(-frames // 48) for clip, frames in CLIPS.items()}  # of two seconds at 24
FOLDERS = ("editorial", "viewing")
RECIPE = """
[[output]]
name = "editorial"
make = "movie"
codec = "prores-proxy"
container = "mov"
size = "{size}"

[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "{size}"
preset = "veryfast"
[output.burnin]
text = [{ at = "bottom", text = "{timecode}", size = 0.1 }]
"""
# What a kill waits for, as files or lines of which there are more than before; then a moment longer.
MOMENTS = ("start", "claim", "segment", "join", "rename", "record", "end")


def made_up_day(folder: Path, size: str = "128x72", rate: int = 12) -> tuple[object, ...]:
    """Three small originals, a list and a recipe; gives the command without its --out. `size` is the outputs' raster."""
    for number, (clip, frames) in enumerate(CLIPS.items()):
        pictures = [numbered(1000 * number + n) for n in range(frames * rate // 24)]
        start = f"{number + 1:02}:00:00:00"
        write_movie(folder / f"{clip}.mov", pictures, timecode=start, rate=Fraction(rate))
    rows = "".join(f"{clip}.mov,LogC3,narrow\n" for clip in CLIPS)
    (folder / "day.csv").write_text("clip,encoding,levels\n" + rows)
    (folder / "two.toml").write_text(RECIPE.replace("{size}", size))
    return "render", folder / "day.csv", "--recipe", folder / "two.toml", "--workers", 2, "--json"


def delivered(out: Path) -> dict[str, bytes]:
    """Every file under a final name, with its bytes; the clip tables are the pages' kin, and grow with the night."""
    found = [p for folder in FOLDERS for p in (out / folder).glob("**/*") if p.is_file()]
    return {str(p.relative_to(out)): p.read_bytes() for p in found if p.name not in TABLES}


# What a kill may change of what is told: when, how long and at which attempt, and the times of files.
TIMES = ("started", "finished", "seconds", "attempts", "mtime_ns")


def timeless(told: Any) -> Any:
    """Records without what a kill may change."""
    if isinstance(told, dict):
        return {k: timeless(v) for k, v in told.items() if k not in TIMES}
    return [timeless(v) for v in told] if isinstance(told, list) else told


def facts(out: Path) -> dict[str, Any]:
    """All that log, report and manifest of an output folder tell, without what a kill may change."""
    when = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[ T][0-9:]{5,8}(?:[+-][0-9:]{5}| UTC)?")
    page = when.sub("", (out / "report" / "index.html").read_text()).replace(out.name, "DIR")
    batch = json.loads((out / "report" / "batch.json").read_text())
    (manifest,) = (out / "ascmhl").glob("*.mhl")
    clips = sorted(timeless(batch["clips"]), key=lambda record: record["clip"])
    records = timeless(list(latest(read_records(out)).values()))
    assert (out / "report" / "batch.csv").read_text().count("\n") == len(clips) + 1
    return {
        "log": sorted(records, key=lambda record: record["clip"]),
        "frames": {p.name: p.read_text() for p in (out / "log" / "frames").glob("[!.]*")},
        "inputs": sorted(p.name for p in (out / "log" / "inputs").rglob("[!.]*") if p.is_file()),
        "batch": clips,
        "page": sorted(
            re.sub(r"<[^>]*>", "\n", page).split("\n")
        ),  # clips of one scene stand in order of their time
        "pictures": {p.name: p.read_bytes() for p in (out / "report" / "pictures").iterdir()},
        "tables": {f"{f}/{name}": (out / f / name).read_text() for f in FOLDERS for name in TABLES},
        "hashes": sorted(
            re.findall(r"<path[^>]*>([^<]*)</path>\s*<xxh128[^>]*>([0-9a-f]+)", manifest.read_text())
        ),
    }


def done(out: Path) -> Counter[str]:
    """`done` records by clip."""
    return Counter(r["clip"] for r in read_records(out) if r["status"] == "done")


def kept(out: Path) -> Counter[str]:
    """Finished segments that the queue holds, by clip; each must be there in full, and the queue whole."""
    found: Counter[str] = Counter()
    if not (out / ".work" / "queue.sqlite").exists():
        return found
    with contextlib.closing(sqlite3.connect(out / ".work" / "queue.sqlite")) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        if not db.execute("SELECT 1 FROM sqlite_master WHERE name='segment'").fetchall():
            return found
        rows = db.execute("SELECT clip, result FROM segment JOIN job USING (key)").fetchall()
    ended = done(out)
    for clip, result in rows:
        if clip not in ended:
            found[clip] += 1
            for file in json.loads(result)["files"]:
                assert Path(file["path"]).stat().st_size == file["bytes"]
    return found


def events(said: Path) -> list[dict]:
    """What a command has said so far; a line that the kill tore is left out."""
    whole = said.read_text().rpartition("\n")[0] if said.exists() else ""
    return [json.loads(line) for line in whole.splitlines()]


def there(out: Path, pattern: str) -> list[str]:
    """Files of that pattern; unlike `Path.glob`, this bears folders that vanish meanwhile."""
    return glob.glob(pattern, root_dir=out)


def seen(moment: str, out: Path, said: Path) -> int:
    """A number that grows when that moment comes."""
    if moment == "start":
        return 1
    if moment in ("claim", "end"):
        return sum(e["event"] == ("begin" if moment == "claim" else "done") for e in events(said))
    if moment == "record":
        with contextlib.suppress(OSError):
            return (out / "log" / "jobs.jsonl").stat().st_size
        return 0
    patterns = {"segment": [".work/*/*/0*.mov"], "join": [".work/*/*/.*A001C*.part"]}
    return sum(len(there(out, p)) for p in patterns.get(moment, [f"{f}/*" for f in FOLDERS]))


def place(out: Path) -> str:
    """Where the night stood when it was hit, by what it left."""
    ended = done(out)
    if len(ended) == len(CLIPS):
        return "after the last record"
    if len(delivered(out)) > len(FOLDERS) * len(ended):
        return "between rename and record"
    if there(out, ".work/*/*/.*A001C*.part"):
        return "while joining"
    if there(out, ".work/*/*/*.mov") or there(out, ".work/*/*/.*.part"):
        return "while rendering"
    return "with the queue filled" if (out / ".work" / "queue.sqlite").exists() else "before the queue"


def alive(process: psutil.Process) -> bool:
    try:
        return process.is_running() and process.status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def workers_of(runner: psutil.Process) -> list[psutil.Process]:
    """The worker processes that a runner has now, and the one that they are forks of."""
    found = []
    with contextlib.suppress(psutil.NoSuchProcess):
        for child in runner.children(recursive=True):
            with contextlib.suppress(psutil.NoSuchProcess):
                if "forkserver" in " ".join(child.cmdline()):
                    found.append(child)
    return found


class Night:
    """One output folder, rendered through kills to its end."""

    def __init__(
        self, command: tuple[object, ...], out: Path, wanted: dict[str, bytes], told: dict[str, Any]
    ) -> None:
        self.command, self.out, self.wanted, self.told = (*command, "--out", out), out, wanted, told
        self.landed: Counter[tuple[str, str]] = Counter()
        self.children: list[psutil.Process] = []
        self.runs = 0

    def through(self, kills: int, dice: random.Random) -> Counter[tuple[str, str]]:
        """Run, hit and run again until `kills` have landed or the night is over; then held to its promises."""
        try:
            over = False
            while not over:
                over = self.one_run(kills, dice)
        finally:
            deadline = time.monotonic() + 30
            while any(map(alive, self.children)) and time.monotonic() < deadline:
                time.sleep(0.1)
            left = [child for child in self.children if alive(child)]
            for child in left:
                child.kill()
        assert not left, "workers outlived their runner"
        assert delivered(self.out) == self.wanted
        assert done(self.out) == Counter(SEGMENTS.keys())
        assert {r["status"] for r in latest(read_records(self.out)).values()} == {"done"}
        assert not (self.out / ".work").exists()
        now = facts(self.out)
        for what, wanted in self.told.items():
            assert now[what] == wanted, what
        return self.landed

    def one_run(self, kills: int, dice: random.Random) -> bool:
        """The command once, with a kill or three. Gives whether it came to its end."""
        self.runs += 1
        before, ended = kept(self.out), done(self.out)
        said = self.out.with_name(f"{self.out.name} {self.runs}.jsonl")
        errors = said.with_suffix(".errors")
        with said.open("w") as stdout, errors.open("w") as stderr:
            process = started(*self.command, stdout=stdout, stderr=stderr)
        try:
            lost = 0
            while self.landed.total() < kills and lost < 2:  # three deaths would set the clip aside
                who = dice.choice(("runner", "worker", "both"))
                if not self.wait(process, said, dice):
                    break
                runner = psutil.Process(process.pid)
                workers = workers_of(runner)
                self.children += workers
                if who == "worker" and workers:
                    with contextlib.suppress(psutil.NoSuchProcess):
                        dice.choice(workers).kill()
                    lost += 1
                    self.hit(who)
                    self.nothing_half()
                    continue
                victims = [runner, *workers] if who == "both" else [runner]
                for victim in dice.sample(victims, len(victims)):
                    with contextlib.suppress(psutil.NoSuchProcess):
                        victim.kill()
                process.wait()
                self.hit("both" if len(victims) > 1 else "runner")
                break
            code = process.wait(timeout=300)
        finally:
            process.kill()
            process.wait()
        self.nothing_half()
        self.nothing_twice(said, before, ended)
        if code == -9:
            self.nothing_lost(said, before)
            return False
        assert code == 0, said.read_text() + errors.read_text()
        return True

    def hit(self, who: str) -> None:
        where = place(self.out)
        self.landed[who, where] += 1
        print(f"{self.out.name}, run {self.runs}: {who}, {where}", flush=True)

    def wait(self, process: Popen, said: Path, dice: random.Random) -> bool:
        """Until a random moment of the run. False where the command has ended before."""
        moment = dice.choice(MOMENTS)
        count = 0 if moment == "start" else seen(moment, self.out, said)
        count += dice.randint(0, 2) if moment in ("segment", "rename") else 0
        longer = (
            dice.uniform(0, 3) if moment == "start" else dice.choice((0, 0, 0.01, 0.05, 0.3)) * dice.random()
        )
        while process.poll() is None and seen(moment, self.out, said) <= count:
            time.sleep(0.003)
        time.sleep(longer)
        return process.poll() is None

    def nothing_half(self) -> None:
        for name, content in delivered(self.out).items():
            assert content == self.wanted.get(name), name
        assert all(n == 1 for n in done(self.out).values())

    def nothing_lost(self, said: Path, before: Counter[str]) -> None:
        """Every segment said to be finished is held for the next run."""
        rendered = Counter(e["clip"] for e in events(said) if e["event"] == "segment")
        held, ended = kept(self.out), done(self.out)
        for clip, segments in (before + rendered).items():
            assert clip in ended or held[clip] >= segments, (clip, before, rendered, held)

    def nothing_twice(self, said: Path, before: Counter[str], ended: Counter[str]) -> None:
        """A clip brought to its end by this run: what the queue held and what was rendered make up the whole."""
        told = events(said)
        rendered = Counter(e["clip"] for e in told if e["event"] == "segment")
        for clip in (e["clip"] for e in told if e["event"] == "done"):
            assert clip not in ended
            assert before[clip] + rendered[clip] == SEGMENTS[clip], (clip, before, rendered)


@pytest.fixture(scope="module")
def day(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[tuple[object, ...], dict[str, bytes], dict[str, Any]]:
    """The command, and what it delivers and tells undisturbed."""
    folder = tmp_path_factory.mktemp("kills")
    command = made_up_day(folder)
    run = rushlight(*command, "--out", folder / "undisturbed")
    assert run.returncode == 0, run.stdout + run.stderr
    wanted = delivered(folder / "undisturbed")
    assert len(wanted) == len(FOLDERS) * len(CLIPS)
    told = facts(folder / "undisturbed")
    assert all(told.values()) and len(told["hashes"]) == len(wanted) + len(told["tables"])
    return command, wanted, told


def kill_loop(day: tuple, folder: Path, *, kills: int, seed: int, a_night: int) -> Counter[tuple[str, str]]:
    """Nights with up to `a_night` kills each, until `kills` have landed. Gives who was hit, and where."""
    dice = random.Random(seed)
    landed: Counter[tuple[str, str]] = Counter()
    for night in range(kills):
        landed += Night(*(day[0], folder / f"night {night}"), *day[1:]).through(
            min(a_night, kills - landed.total()), dice
        )
        if landed.total() >= kills:
            break
    assert landed.total() == kills
    return landed


def test_four_kills(day: tuple, tmp_path: Path) -> None:
    kill_loop(day, tmp_path, kills=4, seed=4, a_night=4)


@pytest.mark.slow
def test_two_hundred_kills(day: tuple, tmp_path: Path) -> None:
    landed = kill_loop(day, tmp_path, kills=200, seed=20261125, a_night=8)
    assert {who for who, _ in landed} == {"runner", "worker", "both"}
    print(*(f"{n:3} {who}, {where}" for (who, where), n in sorted(landed.items())), sep="\n")
