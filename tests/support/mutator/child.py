"""The process that runs inputs: one line of JSON in, `{"kind", "number", "input"}`, one out, `{"fault", "calls", "cpu"}`."""

from __future__ import annotations

import faulthandler
import json
import os
import re
import resource
import shutil
import sys
import time
import traceback
import warnings
from pathlib import Path
from random import Random
from typing import Any

from mutator.kinds import KINDS, Kind
from mutator.mutations import mutated
from mutator.planted import PLANTED
from mutator.seeds import copied

__all__ = ["Runner", "main"]

GROWTH = 1 << 30  # bytes of address space
TREES = {
    "texts": ("day", "card"),
    "originals": ("day", "shots"),
    "sound": ("day", "takes"),
    "folders": ("night",),
}
TRACE = re.compile(
    r'Traceback \(most recent|File ".+", line \d+|\.py:\d+: \w*Warning|a fault of its own|fault of rushlight.s own'
)
CONTROLS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")  # what a terminal would obey


class Runner:
    """Runs inputs in `home`, which has the seeds."""

    def __init__(self, home: Path) -> None:
        from mutator.quick import Farm, at_ease
        from rushlight.batch.farm import dask_farm as farms

        at_ease()
        self.farm = Farm()
        self.home, self.work = home, home / "work"
        self.outside = self._outside()
        farms.DaskFarm = self._farm  # type: ignore[assignment,misc]
        os.environ["XDG_STATE_HOME"] = str(home / "state")
        os.environ["HOME"] = str(home / "state")
        os.environ.pop("COLUMNS", None)
        warnings.simplefilter("ignore")
        for kind in (RuntimeWarning, UserWarning, ResourceWarning):
            warnings.simplefilter("always", kind)

    def _farm(self, **options: Any) -> Any:
        self.farm = type(self.farm)()
        return self.farm

    def _outside(self) -> list[tuple[str, int, int]]:
        found = sorted((self.home / "outside").rglob("*"))
        return [(p.name, p.lstat().st_size, p.lstat().st_mtime_ns) for p in found if p.name != "folder"]

    def run(self, kind: Kind, number: int, given: Path | None = None) -> dict[str, Any]:
        """One input; `given`: its bytes in place of those that the number makes. `number` below 0: the seed unchanged."""
        os.chdir(self.home)
        shutil.rmtree(self.work, ignore_errors=True)
        self.work.mkdir()
        for tree in TREES[kind.group]:
            copied(self.home / "whole" / tree, self.work / tree)
        os.chdir(self.work)
        rng = Random(f"{kind.name} {number}")
        path = kind.chosen(self.work, rng)
        data = path.read_bytes()
        if given is not None:
            data = given.read_bytes()
        elif number >= 0:
            data = mutated(data, kind.form, rng, self.home / "outside")
        before = path.stat()
        path.unlink()  # lattices are links to the seeds' own
        path.write_bytes(data)
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
        (self.home / "input").write_bytes(data)
        self._alone(kind, path)
        calls = kind.calls(
            self.home, path, Random(f"{kind.name} {number} calls")
        )  # the same for bytes that are given
        said = [" ".join(map(str, call)).replace(f"{self.home}/", "") for call in calls]
        (self.home / "calls").write_text(f"{path.relative_to(self.work)}\n" + "\n".join(said) + "\n")
        start, fault = time.process_time(), ""
        codes: list[int] = []
        with self._bounded():
            fault = self._parsed(kind, path)
            for call in calls:
                fault = fault or self._called(kind, call, codes)
        fault = fault or self._written() or self._touched()
        return {
            "fault": fault,
            "file": str(path.relative_to(self.work)),
            "calls": said,
            "codes": codes,
            "cpu": time.process_time() - start,
        }

    def _alone(self, kind: Kind, path: Path) -> None:
        """Of the originals only the mutated one is left; the good ones lie elsewhere."""
        if kind.group == "originals":
            shots = self.work / "shots"
            kept = path if path.parent == shots else path.parent
            for other in shots.iterdir():
                if other != kept:
                    shutil.rmtree(other) if other.is_dir() else other.unlink()

    def _bounded(self) -> Any:
        return _Bounded()

    def _parsed(self, kind: Kind, path: Path) -> str:
        from rushlight.pipelines.errors import RushlightError

        try:
            if kind.read:
                kind.read(path)
        except RushlightError as error:
            str(error)
        except Exception:
            return f"the parser raised\n{traceback.format_exc()}"
        return ""

    def _called(self, kind: Kind, call: list[object], codes: list[int]) -> str:
        """Run one command; its exit code goes to `codes`."""
        from click.testing import CliRunner

        from rushlight.batch.cli.main import cli

        self.farm = type(self.farm)()
        found = CliRunner().invoke(cli, [*map(str, call), "--traceback"], prog_name="rushlight")
        name, error = " ".join(map(str, call)), found.exception
        if error is not None and not isinstance(error, SystemExit):
            from rushlight.pipelines.errors import RushlightError

            if not isinstance(error, RushlightError):
                return f"{name}\n{''.join(traceback.format_exception(error))}"
            codes.append(2)
            return ""
        codes.append(found.exit_code)
        if self.farm.ended and not re.search("paused: |waiting: ", found.output):
            return f"{name}\nwaited, and did not say what for: {found.output[-3000:]}"
        if found.exit_code not in (0, 1, 2, 3):
            return f"{name}\nexit code {found.exit_code}: {found.output[-3000:]}"
        if shown := TRACE.search(found.output):
            at = max(0, shown.start() - 500)
            return f"{name}\nshown to the user: {found.output[at : shown.end() + 2500]}"
        if "--json" not in call and (odd := CONTROLS.search(found.output)):
            at = max(0, odd.start() - 100)
            return f"{name}\nshown raw: {found.output[at : odd.end() + 100]!r}"
        if wrong := kind.faults(call, found.exit_code, found.stdout):
            return f"{name}\n{wrong}"
        return ""

    def _written(self) -> str:
        """What a page or log that was written now shows of a traceback."""
        for path in (*self.work.rglob("index.html"), *self.work.rglob("jobs.jsonl")):
            text = path.read_text(errors="replace") if path.is_file() else ""
            if shown := TRACE.search(text):
                return f"{path.relative_to(self.work)} shows {text[max(0, shown.start() - 500) : shown.end() + 2000]}"
        return ""

    def _touched(self) -> str:
        now = self._outside()
        return "" if now == self.outside else f"touched outside: {self.outside} became {now}"


class _Bounded:
    """Address space bounded to what it is now and GROWTH more."""

    def __enter__(self) -> None:
        self.before = resource.getrlimit(resource.RLIMIT_AS)
        try:
            pages = int(Path("/proc/self/statm").read_text().split()[0])
        except OSError:
            return
        limit = pages * resource.getpagesize() + GROWTH
        resource.setrlimit(resource.RLIMIT_AS, (limit, self.before[1]))

    def __exit__(self, *_: object) -> None:
        resource.setrlimit(resource.RLIMIT_AS, self.before)


def main(home: Path, *, night: bool = True) -> None:
    """Take inputs from standard input until it ends. What anybody prints goes to standard error."""
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)
    faulthandler.enable()
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000_000, resource.RLIM_INFINITY))
    if not (home / "whole").is_dir():
        from here import HereFarm
        from mutator.seeds import make
        from rushlight.batch.farm import dask_farm as farms

        farms.DaskFarm = lambda **options: HereFarm()  # type: ignore[assignment,misc]
        make(home, night=night)
    runner = Runner(home)
    print(json.dumps({"ready": True}), file=answers, flush=True)
    for line in sys.stdin:
        one = json.loads(line)
        given = Path(one["input"]) if one.get("input") else None
        try:
            kind = (KINDS | PLANTED)[one["kind"]]
            answer = runner.run(kind, one["number"], given)
        except BaseException:
            answer = {"fault": f"the harness itself:\n{traceback.format_exc()}", "calls": [], "cpu": 0.0}
        print(json.dumps(answer), file=answers, flush=True)
