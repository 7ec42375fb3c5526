"""A show of two tiny clips whose lists do not agree on grades, and all that its output folder has of it."""

import os
import re
from pathlib import Path

from here import run
from logged import latest, read_records
from pictures import numbered, write_movie
from rushlight.batch.plan.request_ledger import read_askings

ONE, TWO, THREE = "1.1 1 1", "1 1 1.2", "1 1.3 1"  # slopes
FILES = ("stills", "frames")


def recipe(*names: str) -> str:
    each = 'make = "stills"\nkinds = ["jpeg"]\nsize = "64x36"\n'
    return "".join(f'[[output]]\nname = "{name}"\n{each}' for name in names)


class GradedShow:
    """Two clips on the media and lists of slopes; `said` is what the last command said, on one line."""

    def __init__(self, top: Path) -> None:
        self.top, self.out, self.media, self.said = top, top / "out", top / "media", ""
        self.media.mkdir()
        for number, name in enumerate(("A", "B")):
            pictures = [numbered(10 * number + k) for k in range(4)]
            write_movie(self.media / f"{name}.mov", pictures, timecode=f"0{number}:00:00:00")
            os.utime(self.media / f"{name}.mov", (1_700_000_000, 1_700_000_000))
        (top / "stills.toml").write_text(recipe("stills"))
        (top / "frames.toml").write_text(recipe("frames"))
        (top / "both.toml").write_text(recipe("stills", "frames"))

    def list(self, name: str, **slopes: str) -> Path:
        path = self.top / f"{name}.csv"
        path.parent.mkdir(exist_ok=True)
        rows = (f"{clip}.mov,LogC3,narrow,{slope},0 0 0,1 1 1\n" for clip, slope in slopes.items())
        path.write_text("clip,encoding,levels,slope,offset,power\n" + "".join(rows))
        return path

    def run(self, *words: object, code: int = 0) -> None:
        found, said = run(*words)
        self.said = " ".join(said.split())
        assert found == code, said

    def render(self, clip_list: Path, *more: object, recipe: str = "stills", code: int = 0) -> None:
        given = ("--recipe", self.top / f"{recipe}.toml", "--out", self.out, "--media", self.media)
        self.run("render", clip_list, *given, *more, code=code)

    def again(self, *more: object, code: int = 0) -> None:
        self.run("render", "--from", self.out, *more, code=code)

    def slopes(self, out: Path | None = None) -> dict[str, str]:
        """The slope that each delivered clip was made with."""
        records = latest(read_records(out or self.out)).values()
        made = [(r["clip"][:-4], r["look"]["grade"]["slope"]) for r in records if r["status"] == "done"]
        return {clip: " ".join(f"{value:g}" for value in slope) for clip, slope in sorted(made)}

    def files(self, out: Path | None = None) -> dict[str, bytes]:
        places = [p for name in FILES for p in ((out or self.out) / name).rglob("*.jpg")]
        return {p.relative_to(out or self.out).as_posix(): p.read_bytes() for p in sorted(places)}

    def state(self) -> tuple[object, ...]:
        """All that makes a folder: files, records, revisions, and the requests with their times."""
        log = (self.out / "log" / "jobs.jsonl").read_bytes()
        return self.files(), log, (self.out / "revisions").exists(), read_askings(self.out)

    def made(self) -> bool:
        """Whether the last command said that it made anything."""
        return re.search(r"delivered \d+ clip", self.said) is not None

    def stands(self, *more: object) -> None:
        """Made again, twice, nothing is made: files, log and requests are what they were."""
        before = self.state()
        for _ in range(2):
            self.again(*more)
            now = self.state()  # a choice of rows is one more request
            assert not self.made() and now[:3] == before[:3] and (more or now == before), self.said


KILLED = """
import os, signal, sys
from rushlight.batch.farm import dask_farm as farms
from here import HereFarm, run
from rushlight.batch.run import {module}

def killed(*given, **more):
    os.kill(os.getpid(), signal.SIGKILL)

moment = sys.argv[1]
farm = HereFarm(before=lambda task: killed() if task.function.endswith(moment) else None)
farms.DaskFarm = lambda **options: farm
if moment == "append_record":
    {module}.append_record = killed
run(*sys.argv[2:])
"""
