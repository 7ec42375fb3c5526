"""The live page of a night in real processes, killed on its way: it adds up at every moment it was looked at, and ends right."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from command import rushlight, started
from here import small_day
from rushlight.batch.live.night_pages import PAGE, STATE
from rushlight.batch.records.night_state import NightState

# `rushlight`, held for good as its second record is to be written: one clip is delivered, and others are on their way.
HELD = """
import sys, time
from rushlight.batch.run import delivery
written, write = [], delivery.append_record

def held(*arguments, **options):
    while written:
        time.sleep(1)
    written.append(write(*arguments, **options))

delivery.append_record = held
from rushlight.batch.cli.main import main
main()
"""


def look(out: Path, process: subprocess.Popen[str], until: Callable[[NightState], bool]) -> list[NightState]:
    """Every state that stood there, until one is as wanted or the process has ended. A state that does not add up does not read."""
    seen: list[NightState] = []
    end = time.monotonic() + 240
    while time.monotonic() < end:
        ended = process.poll() is not None
        if (out / STATE).exists():
            state = NightState.read(json.loads((out / STATE).read_bytes()))
            if not seen or seen[-1] != state:
                seen.append(state)
            if until(state):
                return seen
        if ended:
            return seen
        time.sleep(0.05)
    raise AssertionError("it never came to that")


def test_a_night_that_is_killed_and_goes_on(tmp_path: Path) -> None:
    out, queue = tmp_path / "out", ("--queue", tmp_path / "q.sqlite")
    listed = small_day(tmp_path / "day", {f"A001C00{n}": 60 for n in range(1, 6)})
    with listed.open("a") as stream:
        stream.write("A001C009.mov,LogC3,narrow\n")
    added = rushlight("queue", "add", listed, "--recipe", tmp_path / "day" / "two.toml", "--out", out, *queue)
    assert added.returncode == 1, added.stderr  # one row is wrong
    call = ("queue", "run", *queue, "--workers", 1)

    command = [sys.executable, "-W", "ignore", "-c", HELD, *map(str, call)]
    first = subprocess.Popen(
        command, start_new_session=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    seen = look(out, first, lambda state: state.counts.delivered >= 1 and bool(state.running))
    os.killpg(first.pid, signal.SIGKILL)
    first.communicate()
    stands = (out / STATE).read_bytes()
    assert not seen[-1].is_over and "Written at" in (out / PAGE).read_text()
    assert (out / STATE).read_bytes() == stands

    second = started(*call)
    seen += look(out, second, lambda state: False)
    said, errors = second.communicate(timeout=240)
    assert second.returncode == 1, said + errors
    seen.append(NightState.read(json.loads((out / STATE).read_bytes())))
    assert {state.counts.listed for state in seen} == {6}
    delivered = [state.counts.delivered for state in seen]
    assert delivered == sorted(delivered), delivered
    assert all(clip.frame <= clip.frames == 60 for state in seen for clip in state.running)
    last = seen[-1]
    told = json.loads((out / "report" / "batch.json").read_bytes())["counts"]
    assert (last.phase, last.counts.delivered, last.counts.set_aside, last.counts.waiting) == (
        "over",
        5,
        1,
        0,
    )
    assert (told["listed"], told["delivered"], told["set_aside"], told["not_yet"]) == (6, 5, 1, 0)
    assert [need.name for need in last.needs if need.what == "set aside"] == ["A001C009.mov"]
