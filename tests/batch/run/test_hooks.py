"""Commands at the end of the night: real renders whose hook writes down what it was given; hooks that go wrong."""

import fcntl
import json
import os
import shlex
import signal
import subprocess
import sys
import threading
import time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from command import started
from here import rushlight
from pictures import settled
from rushlight.batch.disks import parse_size, size_text
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.hooks import Hooks, parse_hooks, ringing, run_hook
from rushlight.batch.run.runner import Event
from rushlight.batch.terminal.progress import View
from rushlight.pipelines.errors import OptionError, SourceError

SAMPLES = Path(__file__).resolve().parents[3] / "sample_frames"
RECIPE = """
[[output]]
name = "small"
make = "stills"
kinds = ["jpeg"]
at = ["middle"]
size = "320x180"
"""


@pytest.fixture
def day(tmp_path: Path) -> tuple[object, ...]:
    """Arguments for a day of one good clip and one broken one, in a tiny recipe."""
    (tmp_path / "day.csv").write_text(
        "clip,encoding,levels,lut,good\nB001C002,V-Log,full,farrow.cube,yes\nX001C001.mov,V-Log,full,farrow.cube,no\n"
    )
    (tmp_path / "X001C001.mov").write_bytes(b"no movie at all " * 99)
    settled(tmp_path / "X001C001.mov")
    (tmp_path / "recipe.toml").write_text(RECIPE)
    (tmp_path / "farrow.cube").symlink_to(SAMPLES / "farrow.cube")
    return (tmp_path / "day.csv", "--recipe", tmp_path / "recipe.toml", "--media", SAMPLES)


def writes(path: Path) -> str:
    """A command that puts its standard input into a file. A quoted blank shows that no shell is needed."""
    code = "import sys; open(sys.argv[1], 'w').write(sys.stdin.read())"
    return shlex.join([sys.executable, "-c", code, str(path)])


def read(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(path.read_text())
    assert found["schema"] == "rushlight-summary-1" and found["host"] and "T" in found["time"]
    return found


def test_a_night_that_went_well_and_one_that_did_not(tmp_path: Path, day: tuple[object, ...]) -> None:
    out, finish, failure = tmp_path / "out", tmp_path / "the finish.json", tmp_path / "failure.json"
    hooks = ("--on-finish", writes(finish), "--on-failure", writes(failure), "--workers", 1)
    run = rushlight("render", *day, "--out", out, *hooks, "--only", "good=yes", "--keep-free", "1MB")
    assert run.returncode == 0, run.stdout + run.stderr
    well = read(finish)
    assert (well["status"], well["done"], well["failed"], well["left"]) == ("done", ["B001C002"], [], 0)
    assert well["out"] == str(out) and well["frames"] > 0 and not failure.exists()

    run = rushlight("render", *day, "--out", out, "--on-failure", writes(failure), "--workers", 1)
    assert run.returncode == 1, run.stdout + run.stderr
    badly = read(failure)
    assert (badly["status"], badly["unchanged"], badly["done"]) == ("partly", ["B001C002"], [])
    (wrong,) = badly["failed"] + badly["set_aside"]
    assert wrong["clip"] == "X001C001.mov" and wrong["error"]

    finish.unlink()
    run = rushlight("render", *day, "--out", out, *hooks, "--strict", "--json", "--encoding", "nonsense-log")
    assert run.returncode == 2
    assert all(json.loads(line)["event"] for line in run.stdout.splitlines())  # nothing of the hooks' there
    assert read(finish)["status"] == read(failure)["status"] == "refused"
    assert "nonsense-log" in read(failure)["error"]


def test_a_queue_without_room_pauses_and_rings_when_it_is_stopped(
    tmp_path: Path, day: tuple[object, ...]
) -> None:
    queue, failure = ("--queue", tmp_path / "q.sqlite"), tmp_path / "failure.json"
    added = rushlight("queue", "add", *day, "--only", "good=yes", "--out", tmp_path / "out", *queue)
    assert added.returncode == 0, added.stderr
    hooks = ("--on-failure", writes(failure), "--keep-free", "9000TB", "--workers", 1, "--json")
    run = started("queue", "run", *queue, *hooks)
    assert run.stdout is not None
    paused = next(event for line in run.stdout if (event := json.loads(line))["event"] == "paused")
    assert "less than 9000000.0 GB free" in paused["text"]
    for _ in range(100):  # the command runs beside the paused queue
        if failure.exists() and failure.read_text().endswith("}\n"):
            break
        time.sleep(0.1)
    assert (read(failure)["status"], read(failure)["error"]) == ("paused", paused["text"])
    run.send_signal(signal.SIGINT)
    run.communicate(timeout=60)
    assert run.returncode == 3
    assert (read(failure)["status"], read(failure)["left"]) == ("stopped", 1)
    run_now = rushlight("queue", "run", *queue, "--on-finish", writes(failure), "--workers", 1)
    assert run_now.returncode == 0 and read(failure)["done"] == ["B001C002"]


def test_faults_of_a_command_are_said_and_bounded(tmp_path: Path) -> None:
    def python(code: str) -> tuple[str, ...]:
        return (sys.executable, "-c", code)

    assert run_hook((), {}) == "" and run_hook(python("pass"), {"clips": ["x" * 64] * 9000}) == ""
    said = run_hook(python("print('no signal\\n'); raise SystemExit(7)"), {})
    assert said.endswith("ended with code 7, saying 'no signal'")
    assert "signal 9" in run_hook(python("import os; os.kill(os.getpid(), 9)"), {})
    assert "'/no/such' cannot be run: No such file" in run_hook(("/no/such",), {})
    (tmp_path / "plain").write_text("x")
    assert "cannot be run: Permission denied" in run_hook((str(tmp_path / "plain"),), {})
    held, pid = tmp_path / "held", tmp_path / "pid"
    child = (
        f"import fcntl, time; f = open({str(held)!r}, 'w'); fcntl.flock(f, fcntl.LOCK_EX);"
        "f.write('x'); f.flush(); time.sleep(99)"
    )
    parent = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {child!r}])"
    assert "still running after 3 s, and was killed" in run_hook(python(parent), {}, seconds=3)
    assert held.read_text() == "x"
    with held.open() as file:
        for _ in range(50):
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                time.sleep(0.1)
        else:
            pytest.fail("the child of a command that was killed is alive")
    leaves = f"import subprocess; open({str(pid)!r}, 'w').write(str(subprocess.Popen(['sleep', '600']).pid))"
    assert (
        run_hook(python(leaves), {}) == ""
    )  # the child is not waited for, which would end with the time limit
    os.kill(int(pid.read_text()), signal.SIGKILL)


def test_ctrl_c_ends_a_command_and_not_the_night(capsys: pytest.CaptureFixture[str]) -> None:
    before = signal.signal(
        signal.SIGINT, signal.default_int_handler
    )  # tests in the background inherit an ignored one
    timer = threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT))
    timer.start()
    try:
        assert ringing(Hooks(finish=("sleep", "30")), EventStream(View()), lambda: 0) == 0
    finally:
        timer.join()
        signal.signal(signal.SIGINT, before)
    assert "'sleep' was stopped by a signal" in capsys.readouterr().err


def test_a_disk_at_the_brink_rings_once(tmp_path: Path) -> None:
    count, events = tmp_path / "count", EventStream()
    code = f"open({str(count)!r}, 'a').write('ring ')"

    def night() -> int:
        for what in ("started", "paused", "resumed", "paused", "resumed", "done"):
            events.event(Event(what=what, text="no room"))
        begin = time.monotonic()
        while not count.exists() and time.monotonic() - begin < 20:
            time.sleep(0.05)
        time.sleep(0.5)
        return 0

    assert ringing(Hooks(failure=(sys.executable, "-c", code)), events, night) == 0
    assert count.read_text() == "ring "


def test_no_room_for_the_summary_costs_no_night() -> None:
    code = (
        "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096));"
        "from rushlight.batch.run.hooks import run_hook; print(run_hook(('true',), {'error': 'x' * 99999}))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "'true' cannot be run: File too large\n"


def test_the_result_is_as_without_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = (sys.executable, "-c", "raise SystemExit('no line')")
    assert ringing(Hooks(finish=bad, failure=("/no/such",)), EventStream(View()), lambda: 1) == 1
    err = capsys.readouterr().err
    assert "--on-finish" in err and "'no line'" in err and err.count("--on-failure") == 1

    def breaks() -> int:
        raise SourceError("the disk went")

    told = tmp_path / "told.json"
    with pytest.raises(SourceError, match="the disk went"):
        ringing(parse_hooks(None, writes(told)), EventStream(), breaks)
    assert (read(told)["status"], read(told)["error"]) == ("broken off", "the disk went")


@pytest.mark.parametrize("text", ["", "  ", "''", "ring 'it", "a\0b"])
def test_what_is_no_command(text: str) -> None:
    with pytest.raises(OptionError, match=r"is no command.*--on-failure"):
        parse_hooks(None, text)


@given(st.lists(st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"])), min_size=1))
def test_a_command_is_split_as_a_shell_quotes(words: list[str]) -> None:
    words[0] = "true"
    assert parse_hooks(shlex.join(words), None) == Hooks(finish=tuple(words))


def test_what_cannot_be_started_is_told_before_the_night(tmp_path: Path) -> None:
    texts = {"plain": "echo ring\n", "lost": "#!/no/such/sh\necho ring\n", "good": "#!/bin/sh\necho ring\n"}
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
        (tmp_path / name).chmod(0o755)
    (tmp_path / "mode").write_text(texts["good"])
    for name, why in {
        "plain": "is a text file without #!",
        "lost": "names no program in its first line",
        "mode": "no program",
        "missing": "no program",
        ".": "no program",
    }.items():
        place = tmp_path / name
        assert name == "." or run_hook((str(place),), {})  # it is so
        with pytest.raises(OptionError, match=f"--on-finish: .*{why}.*without a shell"):
            parse_hooks(f"{place} now", None)
    good = str(tmp_path / "good")
    assert parse_hooks(None, good) == Hooks(failure=(good,)) and run_hook((good,), {}) == ""
    with pytest.raises(OptionError, match="no program 'a=1'"):  # what only a shell would take
        parse_hooks("a=1 ring && tell", None)


UNITS = {
    "B": 1,
    "kB": 10**3,
    "MB": 10**6,
    "GB": 10**9,
    "TB": 10**12,
    "KiB": 2**10,
    "MiB": 2**20,
    "GiB": 2**30,
}


@given(
    st.decimals(0, 10**6, places=3),
    st.sampled_from(sorted(UNITS)),
    st.sampled_from([str, str.lower, str.upper]),
    st.sampled_from(["", " "]),
)
def test_sizes(number: Decimal, unit: str, case: Any, blank: str) -> None:
    assert parse_size(f"{number}{blank}{case(unit)}") == int(number * UNITS[unit])


def test_sizes_by_hand() -> None:
    found = [parse_size(text) for text in ("500MB", "20GB", "1.5 tb", "1GiB", "0", " 12B ")]
    assert found == [500_000_000, 20_000_000_000, 1_500_000_000_000, 1_073_741_824, 0, 12]
    assert (size_text(500_000_000), size_text(20_000_000_000)) == ("500 MB", "20.0 GB")


@given(
    st.text()
    | st.sampled_from(["20", "-1GB", "1e9B", "nan GB", "1,5GB", "GB", "٣GB", "1GB/s", "9" * 40 + "GB"])
)
def test_anything_else_is_one_clear_error(text: str) -> None:
    try:
        assert parse_size(text) >= 0
    except OptionError as error:
        assert str(error).startswith(repr(text)) and "500MB or 20GB" in str(error)
        assert "\n" not in str(error)


def test_no_size_and_no_command_stop_before_anything_is_made(tmp_path: Path, day: tuple[object, ...]) -> None:
    for option, text in (("--keep-free", "20"), ("--on-finish", "ring 'it"), ("--on-late", "/no/such")):
        run = rushlight("render", *day, "--out", tmp_path / "out", option, text)
        assert run.returncode == 2 and text in run.stderr and not (tmp_path / "out").exists()
