"""python -m tests.benchmarks.card_faults [CASE ...] [--workers 4] [--clips 6] [--seconds 4] [--keep FOLDER]

Nights in which a card fails, on a machine that has one: each must end with the bytes and colour digests of a calm one.

    off      by the processor alone
    killed   a worker that uses the card is killed with -9, twice
    hidden   the run is ended half way and goes on with CUDA_VISIBLE_DEVICES= (nobody sees a card)
    mixed    one worker of a farm sees the card, another, which joins later, does not
    full     the card's memory is taken by another program before the night begins
    filled   it is taken once the workers are at work

Exit code 1 where anything differs. Says who graded the segments, where the record tells.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import psutil

from tests.benchmarks import media
from tests.benchmarks.card_nights import originals
from tests.benchmarks.rows import HD, RUSHLIGHT, Bench

TAKE = """
import sys, time, cupy
runtime, left, held = cupy.cuda.runtime, int(sys.argv[1]), []
step = 1 << 30
while step >= 1 << 20:
    free, _ = runtime.memGetInfo()
    if free - step < left:
        step >>= 1
        continue
    try:
        held.append(runtime.malloc(step))
    except Exception:
        step >>= 1
print(runtime.memGetInfo()[0], flush=True)
time.sleep(600)
"""


class Nights:
    """One day, rendered over and over."""

    def __init__(self, folder: Path, workers: int, clips: int, seconds: int) -> None:
        self.bench = Bench(folder=folder, runs=1)
        self.clips = originals(media.movie(folder, HD, seconds), clips)
        self.listed, self.workers = folder / "graded.csv", workers
        # A grade each, so that a worker takes memory of the card with every clip.
        rows = [
            f"{clip.name},{media.ENCODING},narrow,{0.8 + k / 50:.2f}\n" for k, clip in enumerate(self.clips)
        ]
        self.listed.write_text("clip,encoding,levels,saturation\n" + "".join(rows))

    def command(self, out: Path, *more: str) -> list[str]:
        command = [*RUSHLIGHT, "render", str(self.listed), "--recipe", "overnight", "--quiet"]
        command += ["--media", str(self.clips[0].parent), "--out", str(out), *more]
        return command if "--scheduler" in more else [*command, "--workers", str(self.workers)]

    def started(self, out: Path, *more: str, env: Mapping[str, str] | None = None) -> subprocess.Popen[str]:
        return subprocess.Popen(
            self.command(out, *more),
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, **(env or {})},
        )

    def done(self, process: subprocess.Popen[str], *, code: int = 0) -> None:
        said, _ = process.communicate(timeout=500)
        for line in said.strip().splitlines()[-6:]:
            print("     ", line, flush=True)
        assert process.returncode == code, (process.returncode, said[-2000:])


def users_of_card(of: int) -> list[int]:
    """Processes below this one that have a device of NVIDIA's open."""
    found = []
    for process in psutil.Process(of).children(recursive=True):
        try:
            files = [os.readlink(path) for path in Path(f"/proc/{process.pid}/fd").iterdir()]
        except OSError:
            continue
        if any(file.startswith("/dev/nvidia") for file in files):
            found.append(process.pid)
    return found


def until(what: str, true: Callable[[], object], seconds: float = 90) -> None:
    begun = time.monotonic()
    while not true():
        assert time.monotonic() - begun < seconds, f"waited {seconds:.0f} s in vain: {what}"
        time.sleep(0.05)


def segments(out: Path) -> int:
    return sum(1 for path in out.glob(".work/**/*.mov") if not path.name.startswith("."))


@contextmanager
def filled(left: int) -> Iterator[None]:
    """The card's memory taken, but for so many bytes."""
    process = subprocess.Popen([sys.executable, "-c", TAKE, str(left)], stdout=subprocess.PIPE, text=True)
    assert process.stdout
    try:
        print(f"      {int(process.stdout.readline()) / 1e6:.0f} MB of the card left", flush=True)
        yield
    finally:
        process.kill()
        process.wait()


def off(nights: Nights, out: Path) -> None:
    nights.done(nights.started(out, "--graphics", "off"))


def killed(nights: Nights, out: Path) -> None:
    run = nights.started(out, "--graphics", "auto")
    for turn in range(2):
        until("a worker that uses the card", lambda: users_of_card(run.pid) or run.poll() is not None)
        time.sleep(1)
        for pid in users_of_card(run.pid)[turn : turn + 1]:
            os.kill(pid, signal.SIGKILL)
            print(f"      killed worker {pid}", flush=True)
    nights.done(run)


def hidden(nights: Nights, out: Path) -> None:
    run = nights.started(out, "--graphics", "auto")
    until("segments", lambda: segments(out) >= 2)
    run.send_signal(signal.SIGTERM)
    nights.done(run, code=3)
    print("      ended half way, goes on without a card", flush=True)
    nights.done(nights.started(out, "--graphics", "auto", env={"CUDA_VISIBLE_DEVICES": ""}))


def mixed(nights: Nights, out: Path) -> None:
    farm, address = nights.bench.folder / "farm", "tcp://127.0.0.1:18786"
    farm.mkdir(exist_ok=True)
    dask = [sys.executable, "-m", "dask"]
    quiet = ["--no-dashboard", "--preload", "rushlight.batch.farm.no_status_pages"]
    running: list[subprocess.Popen[bytes]] = []

    def start(*words: str, **more: str) -> None:
        env = {**os.environ, "DASK_TEMPORARY_DIRECTORY": str(farm), "OMP_NUM_THREADS": "1", **more}
        log = (farm / f"{len(running)}.log").open("w")
        running.append(subprocess.Popen([*dask, *words, *quiet], stdout=log, stderr=log, env=env))

    try:
        start("scheduler", "--host", "127.0.0.1", "--port", "18786")
        start("worker", address, "--host", "127.0.0.1", "--nworkers", "1", "--nthreads", "1")
        time.sleep(4)
        run = nights.started(out, "--graphics", "auto", "--scheduler", address)
        until("segments", lambda: segments(out) >= 2)
        start(
            *("worker", address, "--host", "127.0.0.1", "--nworkers", "1", "--nthreads", "1"),
            CUDA_VISIBLE_DEVICES="",
        )
        nights.done(run)
    finally:
        for process in reversed(running):
            process.terminate()
            process.wait()


def full(nights: Nights, out: Path) -> None:
    with filled(100_000_000):
        nights.done(nights.started(out, "--graphics", "auto"))


def filled_later(nights: Nights, out: Path) -> None:
    run = nights.started(out, "--graphics", "auto")
    until(
        "workers that use the card",
        lambda: len(users_of_card(run.pid)) >= nights.workers or run.poll() is not None,
    )
    with filled(2_000_000):
        nights.done(run)


CASES: dict[str, Callable[[Nights, Path], None]] = {
    "off": off,
    "killed": killed,
    "hidden": hidden,
    "mixed": mixed,
    "full": full,
    "filled": filled_later,
}


def result(out: Path) -> dict[str, str]:
    """SHA-256 of every file delivered, and each clip's colour digest."""
    found = {}
    for folder in sorted(
        p for p in out.iterdir() if p.is_dir() and p.name not in ("log", "report", "ascmhl", ".work")
    ):
        for path in sorted(
            p for p in folder.rglob("*") if p.suffix in (".mov", ".mp4", ".jpg", ".tif", ".tiff", ".mxf")
        ):
            found[str(path.relative_to(out))] = hashlib.sha256(path.read_bytes()).hexdigest()
    for line in (out / "log" / "jobs.jsonl").read_text().splitlines():
        record = json.loads(line)
        found[f"digest of {record.get('clip')}"] = record["colour"]["digest"]
    return found


def graded_by(out: Path) -> str:
    """Who graded how many frames, as the record has it."""
    frames: Counter[str] = Counter()
    for line in (out / "log" / "jobs.jsonl").read_text().splitlines():
        for made in json.loads(line)["made_with"]:
            for run in made["graded_by"]:
                frames[run["by"]] += run["frames"]
    return ", ".join(f"{number} frames by {by}" for by, number in sorted(frames.items()))


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.card_faults", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("case", nargs="*", help=f"of {', '.join(CASES)}; all")
    parser.add_argument("--workers", type=int, default=4)
    parser.add_argument("--clips", type=int, default=6)
    parser.add_argument("--seconds", type=int, default=4)
    parser.add_argument("--keep", type=Path, help="a folder for the originals made, kept for the next run")
    given = parser.parse_args()
    folder = (given.keep or Path(tempfile.mkdtemp(prefix="rushlight-card-"))).absolute()
    folder.mkdir(parents=True, exist_ok=True)
    wrong = 0
    try:
        nights = Nights(folder, given.workers, given.clips, given.seconds)
        calm = folder / "out-calm"
        shutil.rmtree(calm, ignore_errors=True)
        begun = time.monotonic()
        nights.done(nights.started(calm, "--graphics", "auto"))
        wanted = result(calm)
        print(
            f"calm: {len(wanted)} files and digests, {time.monotonic() - begun:.0f} s; {graded_by(calm)}",
            flush=True,
        )
        for name in given.case or CASES:
            out, begun = folder / f"out-{name}", time.monotonic()
            shutil.rmtree(out, ignore_errors=True)
            try:
                CASES[name](nights, out)
                found = result(out)
                differ = sorted(k for k in wanted.keys() | found.keys() if wanted.get(k) != found.get(k))
            except AssertionError as error:
                differ = [f"{type(error).__name__}: {error}"]
            wrong += bool(differ)
            verdict = f"DIFFERS: {differ[:6]}" if differ else f"equal, {len(found)} files and digests"
            print(
                f"{name}: {verdict}, {time.monotonic() - begun:.0f} s; {graded_by(out) if not differ else ''}",
                flush=True,
            )
            shutil.rmtree(out, ignore_errors=True)
    finally:
        if not given.keep:
            shutil.rmtree(folder, ignore_errors=True)
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
