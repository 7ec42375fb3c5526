"""What goes wrong at night, one fault at a time, in real renders: each has a plain, right outcome, the queue stays
whole, and nothing that is not whole has a final name. Faults are put into workers by faultwork.py, not by the product."""

import contextlib
import os
import shutil
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from command import rushlight
from rushlight.batch.farm import DaskFarm
from rushlight.batch.inputs import bake_looks
from rushlight.batch.night import jobs_of, queued_jobs
from rushlight.batch.prepare import prepare
from rushlight.batch.progress import View
from rushlight.batch.records import latest, read_records
from rushlight.batch.request import Request
from rushlight.batch.runner import Event, Summary, Work, run
from rushlight.batch.states import Policy
from rushlight.batch.store import open_store
from test_kills import CLIPS, delivered, made_up_day

FAULTY = Work(segment="faultwork:segment", finish="faultwork:finish")
QUICK = Policy(resource_wait=0.2)
FIRST, SECOND, THIRD = (f"{clip}.mov" for clip in CLIPS)


@pytest.fixture(scope="module")
def farm() -> Iterator[DaskFarm]:
    found = DaskFarm(workers=2, patience=10)
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
        jobs, _ = jobs_of(prepare(request), out, View(quiet=True))
        specs = bake_looks(out, [spec for spec, _ in jobs], lambda count: None)
        self.jobs = [
            replace(job, payload={**job.payload, "fields": {**job.payload["fields"], "fault": fault}})
            for job in queued_jobs(out, specs)
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


def test_a_worker_that_stands_still_and_joins_cut_short(
    day: tuple[Path, dict[str, bytes]], farm: DaskFarm, tmp_path: Path
) -> None:
    folder, wanted = day
    night = Night(folder, tmp_path / "out", farm, {FIRST: "stands still", THIRD: "short joins"})
    night.run()
    night.ended(wanted, A001C003="failed")
    assert any("got nothing done for 10 s and was ended" in text for text in night.said)
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
    assert "there is no such original" in night.errors[FIRST] and str(media / FIRST) in night.errors[FIRST]
    (tmp_path / "unplugged").rename(media)
    night.run()
    night.ended(wanted)


@pytest.fixture()
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=6m", "none", place], capture_output=True, text=True
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
        if "no space left" in event.text:
            seen.append(event.text)
            if len(seen) == 3:
                ballast.unlink()

    night.run(make_room)
    assert len(seen) >= 3, night.said
    night.ended(wanted)


def test_an_output_folder_that_becomes_read_only(
    day: tuple[Path, dict[str, bytes]], farm: DaskFarm, disk: Path
) -> None:
    folder, wanted = day
    night = Night(folder, disk / "out", farm)
    night.queue = disk.with_name("queue.sqlite")

    def lock(event: Event) -> None:
        if event.what == "segment" and len([e for e in night.events if e.what == "segment"]) == 2:
            subprocess.run(["mount", "-o", "remount,ro", disk], check=True)

    try:
        night.run(lock)
    finally:
        subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
    print(*night.said, sep="\n")
    print(night.states, night.errors)


def test_a_read_only_output_folder_is_refused_before_anything_starts(
    day: tuple[Path, dict[str, bytes]], disk: Path
) -> None:
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    run = rushlight("render", day[0] / "day.csv", "--recipe", day[0] / "two.toml", "--out", disk / "out")
    assert run.returncode == 2 and "cannot be written to" in run.stderr, run.stderr


def test_a_clock_that_is_set_back(
    day: tuple[Path, dict[str, bytes]], farm: DaskFarm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, wanted = day
    night = Night(folder, tmp_path / "out", farm, {THIRD: "short files"})
    right, back = time.time, 0.0
    monkeypatch.setattr(time, "time", lambda: right() - back)

    def turn(event: Event) -> None:
        nonlocal back
        if event.what in ("segment", "retry"):
            back += 3600

    begin = time.monotonic()
    night.run(turn)
    assert time.monotonic() - begin < 120  # nobody waits for the clock to come round again
    night.ended(wanted, A001C003="failed")
    assert all(0 <= r["seconds"] < 120 for r in read_records(night.out))
