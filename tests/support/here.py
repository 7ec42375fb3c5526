"""The command in this process, its work done here and now: for tests of what is made and why, not of how."""

from __future__ import annotations

import contextlib
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pictures import numbered, write_movie
from rushlight.batch.cli.main import cli
from rushlight.batch.farm import dask_farm as farms
from rushlight.batch.farm.dask_farm import Result, Task
from rushlight.batch.farm.tasks import threads_each
from rushlight.batch.farm.worker_process import call
from rushlight.batch.report.clip_tables import TABLES
from rushlight.pipelines.heartbeat import frames_made

SOON = 0.02  # seconds in which a farm with nothing to do is asked again: a night that waits for a card is no busy loop
ENCODED = ("--encoding", "LogC3", "--levels", "narrow")
RECIPE = """
name = "two"
[[output]]
name = "editorial"
make = "movie"
codec = "prores-proxy"
container = "mov"
size = "128x72"

[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "128x72"
preset = "veryfast"
[output.burnin]
text = [{ at = "bottom", text = "{scene} {note}", size = 0.1 }]
"""


@dataclass
class HereFarm:
    """A farm of this process: a task is done when its result is asked for. `before` may look, change or raise."""

    slots: int = 2
    cores: int = 0  # where it has more than slots
    here: bool = False  # of farms of this machine it is asked to compile ahead
    before: Callable[[Task], None] = lambda task: None
    calls: list[Task] = field(default_factory=list)
    waiting: list[Task] = field(default_factory=list)

    def threads(self, tasks: int) -> int:
        return threads_each(tasks, workers=self.slots, cores=max(self.cores, self.slots))

    def submit(self, task: Task) -> None:
        self.waiting.append(task)

    def results(self, timeout: float) -> list[Result]:
        if not self.waiting:
            time.sleep(min(timeout, SOON))
            return []
        task = self.waiting.pop(0)
        self.calls.append(task)
        try:
            self.before(task)
            kind, value = call(task.function, task.arguments)
        except Exception as error:
            kind, value = "error", error
        return [Result(key=task.key, value=value) if kind == "value" else Result(key=task.key, error=value)]

    def grow(self, workers: int) -> None: ...

    def frames(self) -> dict[str, int]:
        return dict([frames_made()])

    def close(self, *, now: bool = False) -> None: ...


@pytest.fixture
def farm_here(monkeypatch: pytest.MonkeyPatch) -> HereFarm:
    """Every farm that is opened is this one."""
    farm = HereFarm()
    monkeypatch.setattr(farms, "DaskFarm", lambda **options: farm)
    return farm


def run(*arguments: object) -> tuple[int, str]:
    """Run `rushlight …` in this process: exit code, and what it said on both outputs."""
    found = CliRunner().invoke(cli, [str(a) for a in arguments], prog_name="rushlight")
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    return found.exit_code, found.output


def rushlight(*arguments: object, cwd: Path | None = None, **env: str) -> subprocess.CompletedProcess[str]:
    """What `command.rushlight` gives, with no process and no farm started for it: seconds less of imports alone."""
    with pytest.MonkeyPatch.context() as patch, contextlib.chdir(cwd or Path.cwd()):
        patch.setattr(farms, "DaskFarm", lambda **options: HereFarm())
        words = [str(a) for a in arguments]
        found = CliRunner(mix_stderr=False).invoke(
            cli, words, prog_name="rushlight", env={"COLUMNS": None, **env}
        )
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    return subprocess.CompletedProcess(words, found.exit_code, found.stdout, found.stderr)


def small_day(folder: Path, clips: dict[str, int] | None = None, **columns: Any) -> Path:
    """A list of small originals (name -> frames) beside it, and the recipe `two.toml`; gives the list."""
    folder.mkdir(parents=True, exist_ok=True)
    clips = clips or {"A001C001": 4, "A001C002": 6}
    for number, (clip, frames) in enumerate(clips.items()):
        pictures = [numbered(100 * number + n) for n in range(frames)]
        write_movie(folder / f"{clip}.mov", pictures, timecode=f"{number + 1:02}:00:00:00")
    (folder / "two.toml").write_text(RECIPE)
    return write_list(folder / "day.csv", {clip: {} for clip in clips} | columns)


def write_list(path: Path, rows: dict[str, dict[str, str]]) -> Path:
    """A clip list of those rows, `LogC3` and narrow."""
    columns = list(dict.fromkeys(c for cells in rows.values() for c in cells))
    lines = [",".join(("clip", "encoding", "levels", *columns))]
    for clip, cells in rows.items():
        lines.append(",".join((f"{clip}.mov", "LogC3", "narrow", *(cells.get(c, "") for c in columns))))
    path.write_text("\n".join(lines) + "\n")
    return path


def files(out: Path, *folders: str) -> dict[str, bytes]:
    """Every file in those folders of an output folder but the clip tables, by its place there."""
    found = [p for folder in folders for p in sorted((out / folder).rglob("*")) if p.is_file()]
    found = [p for p in found if p.name not in TABLES]
    return {p.relative_to(out).as_posix(): p.read_bytes() for p in found}
