"""What goes wrong at night, one fault at a time, in real renders: each has a plain, right outcome, the queue stays
whole, and nothing that is not whole has a final name. Faults are put into workers by faultwork.py, not by the product."""

import contextlib
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import psutil
import pytest

from command import rushlight, started
from logged import latest, read_records
from rushlight.batch.farm.dask_farm import DaskFarm
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.queue.filling import queued_jobs
from rushlight.batch.queue.state_machine import Policy
from rushlight.batch.queue.store import open_store
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.jobs_to_make import baked, jobs_of
from rushlight.batch.run.runner import Event, Summary, Work, run
from test_kills import CLIPS, delivered, made_up_day

FAULTY = Work(segment="faultwork:segment", finish="faultwork:finish")
QUICK = Policy(resource_wait=0.2)
FIRST, SECOND, THIRD = (f"{clip}.mov" for clip in CLIPS)


@pytest.fixture(scope="module")
def farm() -> Iterator[DaskFarm]:
    found = DaskFarm(workers=2, patience=300)
    yield found
    found.close(now=True)


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory, farm: DaskFarm) -> tuple[Path, dict[str, bytes]]:
    """A folder with originals, list and recipe, and what an undisturbed night delivers of it."""
    folder = tmp_path_factory.mktemp("faults") / "day"
    folder.mkdir()
    made_up_day(folder)
    night = Night(folder, folder.parent / "undisturbed", farm)
    assert night.run().left == 0 and len(night.summary.done) == len(CLIPS), night.said
    return folder, delivered(night.out)


class Night:
    """One night into one folder, its queue beside it."""

    def __init__(self, day: Path, out: Path, farm: DaskFarm, faults: dict[str, str] | None = None) -> None:
        self.out, self.farm, self.queue = out, farm, out.with_name("queue.sqlite")
        self.events: list[Event] = []
        request = Request(clip_list=day / "day.csv", recipe=str(day / "two.toml"), out=out).checked()
        prepared = prepare(request)
        turns = baked(prepared, out, jobs_of(prepared, out, EventStream())[0])
        self.jobs = [
            replace(job, payload={**job.payload, "fields": {**job.payload["fields"], "fault": fault}})
            for job in queued_jobs(out, turns)
            for fault in [(faults or {}).get(job.clip, "")]
        ]

    def run(self, on_event: Callable[[Event], None] = lambda event: None, **options: Any) -> Summary:
        def watch(event: Event) -> None:
            self.events.append(event)
            on_event(event)

        options = {"policy": QUICK, "keep_free": 0, **options}
        with open_store(self.queue) as store:
            store.run_alone()
            store.add(self.jobs)
            self.summary = run(store, self.farm, work=FAULTY, on_event=watch, **options)
            self.states = {row.clip: row.state for row in store.rows()}
            self.errors = {row.clip: row.error for row in store.rows()}
        with contextlib.closing(sqlite3.connect(self.queue)) as db:
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return self.summary

    def ended(self, wanted: dict[str, bytes], **states: str) -> None:
        """Each clip in that state, in queue and log alike; under final names what is whole, and nothing else."""
        expected = {clip: states.get(Path(clip).stem, "done") for clip in self.states}
        assert self.states == expected, (self.errors, self.said)
        found = delivered(self.out)
        for name, content in found.items():
            assert content == wanted[name], name
        stems = {Path(name).stem for name in found}
        assert stems == {Path(clip).stem for clip, state in expected.items() if state == "done"}
        assert {r["clip"]: r["status"] for r in latest(read_records(self.out)).values()} == expected

    @property
    def said(self) -> list[str]:
        return [f"{e.what} {e.clip} {e.text}" for e in self.events]


def test_crashes_and_short_files_cost_their_clip_alone(
    day: tuple[Path, dict[str, bytes]], farm: DaskFarm, tmp_path: Path
) -> None:
    folder, wanted = day
    night = Night(folder, tmp_path / "out", farm, {FIRST: "segfault", THIRD: "short files"})
    night.run()
    night.ended(wanted, A001C001="set aside", A001C003="failed")
    assert "3 workers died on it" in night.errors[FIRST]
    assert "the file is larger than the limit allows" in night.errors[THIRD]
    again = Night(folder, tmp_path / "out", farm)  # the same command once what was wrong is put right
    again.run()
    again.ended(wanted)
    rendered = [e.clip for e in again.events if e.what == "segment"]
    assert SECOND not in rendered and rendered.count(FIRST) < 5  # what was finished of it is kept


@pytest.mark.slow
def test_a_clip_that_eats_memory_costs_its_clip_alone(
    day: tuple[Path, dict[str, bytes]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from distributed import system

    folder, wanted = day
    monkeypatch.setattr(system, "MEMORY_LIMIT", 1_200_000_000)  # as if that was all the machine had
    farm = DaskFarm(workers=1, patience=300)
    try:
        night = Night(folder, tmp_path / "out", farm, {THIRD: "eats memory"})
        night.run()
    finally:
        farm.close(now=True)
    night.ended(wanted, A001C003="set aside")
    assert "3 workers died on it" in night.errors[THIRD]


@pytest.mark.slow
def test_a_worker_that_stands_still_and_joins_cut_short(
    day: tuple[Path, dict[str, bytes]], farm: DaskFarm, tmp_path: Path
) -> None:
    folder, wanted = day
    night = Night(folder, tmp_path / "out", farm, {FIRST: "stands still", THIRD: "short joins"})
    farm.patience, before = 30, farm.patience
    try:
        night.run()
    finally:
        farm.patience = before
    night.ended(wanted, A001C003="failed")
    assert any("got nothing done for 30 s and was ended" in text for text in night.said)
    assert "larger than the limit" in night.errors[THIRD]
    assert not list((tmp_path / "out").glob("*/*.part")) and not list((tmp_path / "out").glob("*/.*"))


def test_an_original_unplugged_in_mid_clip(
    day: tuple[Path, dict[str, bytes]], farm: DaskFarm, tmp_path: Path
) -> None:
    _, wanted = day
    media = tmp_path / "media"
    shutil.copytree(day[0], media)
    night = Night(media, tmp_path / "out", farm, {FIRST: "unplugged"})
    night.run()
    assert night.states[FIRST] == "failed" and set(night.states.values()) <= {"failed", "done"}
    night.ended(wanted, **{Path(clip).stem: state for clip, state in night.states.items()})
    # Whether it is gone before or after it is opened is a matter of luck.
    assert "no such " in night.errors[FIRST].lower() and str(media / FIRST) in night.errors[FIRST]
    (tmp_path / "unplugged").rename(media)
    night.run()
    night.ended(wanted)


@pytest.fixture()
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=60m,mode=0700", "none", place], capture_output=True, text=True
    )
    if made.returncode:
        pytest.skip(f"a disk of its own needs root: {made.stderr.strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", place], check=True)


def test_a_full_disk_pauses_and_goes_on_when_there_is_room(
    day: tuple[Path, dict[str, bytes]], farm: DaskFarm, disk: Path
) -> None:
    folder, wanted = day
    night = Night(folder, disk / "out", farm)
    night.queue = disk.with_name("queue.sqlite")
    ballast = disk / "ballast"
    free = os.statvfs(disk)
    ballast.write_bytes(bytes(free.f_bavail * free.f_frsize - 300_000))
    seen: list[str] = []

    def make_room(event: Event) -> None:
        if event.what in ("paused", "resumed", "retry"):
            seen.append(event.what)
            assert (event.what == "resumed") == (not ballast.exists()), night.said
            assert ".work" not in event.text
        if event.what == "paused":
            threading.Timer(1.5, ballast.unlink).start()

    night.run(make_room)
    assert seen == ["paused", "resumed"], night.said
    night.ended(wanted)


def test_an_output_folder_that_becomes_read_only_and_is_set_right(
    day: tuple[Path, dict[str, bytes]], farm: DaskFarm, disk: Path
) -> None:
    folder, wanted = day
    night = Night(folder, disk / "out", farm)
    night.queue = disk.with_name("queue.sqlite")
    refused: list[str] = []

    def turn(event: Event) -> None:
        if event.what == "segment" and sum(e.what == "segment" for e in night.events) == 4:
            for _ in range(
                200
            ):  # until what the other worker has open is closed; it gets nothing new meanwhile
                if not subprocess.run(["mount", "-o", "remount,ro", disk], capture_output=True).returncode:
                    return
                time.sleep(0.1)
            raise AssertionError("the disk could not be locked")
        if "the disk is read-only" in event.text:
            refused.append(event.text)
            if len(refused) == 4 or event.what == "paused":
                subprocess.run(["mount", "-o", "remount,rw", disk], check=True)

    night.run(turn)
    assert refused, night.said
    night.ended(wanted)


def test_a_read_only_output_folder_is_refused_before_anything_starts(
    day: tuple[Path, dict[str, bytes]], disk: Path
) -> None:
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    run = rushlight("render", day[0] / "day.csv", "--recipe", day[0] / "two.toml", "--out", disk / "out")
    assert run.returncode == 2 and "cannot be written to" in run.stderr, run.stderr


CLOCK = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
/* Takes the seconds in the file $CLOCK_BACK off the wall's clock, and leaves the others alone. */
static long back(void) {
    static volatile long *seconds;
    if (!seconds) {
        int file = open(getenv("CLOCK_BACK"), O_RDONLY);
        seconds = mmap(0, sizeof(long), PROT_READ, MAP_SHARED, file, 0);
    }
    return *seconds;
}
int clock_gettime(clockid_t which, struct timespec *now) {
    static int (*real)(clockid_t, struct timespec *);
    if (!real) real = dlsym(RTLD_NEXT, "clock_gettime");
    int failed = real(which, now);
    if (which == CLOCK_REALTIME) now->tv_sec -= back();
    return failed;
}
time_t time(time_t *to) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (to) *to = now.tv_sec;
    return now.tv_sec;
}
int gettimeofday(struct timeval *now, void *zone) {
    struct timespec fine;
    clock_gettime(CLOCK_REALTIME, &fine);
    now->tv_sec = fine.tv_sec;
    now->tv_usec = fine.tv_nsec / 1000;
    return 0;
}
"""


@pytest.mark.slow
def test_a_clock_that_is_set_back(day: tuple[Path, dict[str, bytes]], tmp_path: Path) -> None:
    """For the whole command, its scheduler and its workers: by an hour, in the middle of the night."""
    compiler = shutil.which("cc")
    if not compiler:
        pytest.skip("setting a clock back for some processes alone needs a C compiler")
    folder, wanted = day
    (tmp_path / "clock.c").write_text(CLOCK)
    shim, back = tmp_path / "clock.so", tmp_path / "back"
    subprocess.run([compiler, "-shared", "-fPIC", "-o", shim, tmp_path / "clock.c", "-ldl"], check=True)
    back.write_bytes((0).to_bytes(8, sys.byteorder))
    said, out = tmp_path / "said.jsonl", tmp_path / "out"
    env = {**os.environ, "LD_PRELOAD": str(shim), "CLOCK_BACK": str(back)}
    night = ("render", folder / "day.csv", "--recipe", folder / "two.toml", "--out", out, "--json")
    before = set(psutil.pids())
    with said.open("w") as stdout:
        process = started(*night, "--workers", 2, stdout=stdout, stderr=subprocess.STDOUT, env=env)
    try:
        deadline = time.monotonic() + 200
        while said.read_text().count('"segment"') < 2:
            assert process.poll() is None and time.monotonic() < deadline, said.read_text()
            time.sleep(0.01)
        with back.open("r+b") as stream:
            stream.write((3600).to_bytes(8, sys.byteorder))
        code = process.wait(timeout=240)  # nobody waits for the clock to come round again
    finally:
        process.kill()
        process.wait()
    assert code == 0 and "the clock was set back by 3600 s" in said.read_text(), said.read_text()
    assert delivered(out) == wanted
    assert all(0 <= r["seconds"] < 240 for r in read_records(out))
    left = [p for p in psutil.process_iter() if p.pid not in before and str(shim) in _environment(p)]
    assert not left


def _environment(process: psutil.Process) -> str:
    with contextlib.suppress(psutil.Error):
        return process.environ().get("LD_PRELOAD", "")
    return ""
