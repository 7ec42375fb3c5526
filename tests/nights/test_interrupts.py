"""Ctrl-C, SIGTERM and a closed terminal at moments of a night and of short commands. The moments are functions of the
product (struck.py), not times; the signals are real, and go to the process group."""

import contextlib
import json
import os
import pty
import select
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from command import rushlight
from here import HereFarm, farm_here, run, small_day
from logged import latest, read_records
from rushlight.batch.farm import dask_farm as farms
from rushlight.batch.interrupts import Stopped, deaf, listening, minded, obeyed, on_hangup
from rushlight.batch.report.clip_tables import TABLES
from rushlight.batch.run.events import Stop
from rushlight.batch.terminal.terminal_or_log import FILE
from struck import MOMENTS, before

__all__ = ["farm_here"]
STRUCK = Path(__file__).parents[1] / "support" / "struck.py"
ALWAYS = ("planning", "baking", "joining", "reporting")
NIGHT = tuple(m for m in MOMENTS if m not in ("measuring", "page", "waiting"))
EARLY = ("reading", "planning")  # before there is an output folder


def delivered(out: Path) -> dict[str, bytes]:
    found = [p for folder in ("editorial", "viewing") for p in (out / folder).glob("**/*") if p.is_file()]
    return {str(p.relative_to(out)): p.read_bytes() for p in found if p.name not in TABLES}


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[tuple[object, ...], dict[str, bytes]]:
    """The command without its --out, and what it delivers undisturbed."""
    folder = tmp_path_factory.mktemp("interrupts")
    command = ("render", small_day(folder), "--recipe", folder / "two.toml", "--workers", 2)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(farms, "DaskFarm", lambda **options: HereFarm())
        code, said = run(*command, "--out", folder / "undisturbed")
    wanted = delivered(folder / "undisturbed")
    assert code == 0 and len(wanted) == 4, said
    return command, wanted


def struck(moment: str, how: str, *command: object, here: bool = True, **options: Any) -> Any:
    words = [sys.executable, "-W", "ignore", STRUCK, moment, how, *(["here"] if here else []), "--", *command]
    return subprocess.run(
        [str(w) for w in words],
        capture_output=True,
        text=True,
        start_new_session=True,  # a process group of its own
        timeout=300,
        **options,
    )


def charged(out: Path) -> list[tuple[int, int]]:
    """Deaths of the jobs that are left in the queue."""
    queue = out / ".work" / "queue.sqlite"
    if not queue.exists():
        return []
    with contextlib.closing(sqlite3.connect(queue)) as db:
        return db.execute("SELECT deaths FROM job").fetchall()


def held_to_its_promises(out: Path, wanted: dict[str, bytes], moment: str) -> None:
    for name, content in delivered(out).items():
        assert content == wanted[name], name
    assert not any(deaths for (deaths,) in charged(out))
    if moment not in EARLY and (out / "log" / "jobs.jsonl").exists():
        assert {r["status"] for r in latest(read_records(out)).values()} <= {"done"}
        assert (out / "report" / "index.html").is_file()


def stopped(day: tuple[Any, ...], out: Path, moment: str, how: str, *, here: bool) -> None:
    command, wanted = day
    run = struck(moment, how, *command, "--json", "--out", out, here=here)
    assert run.returncode == 3, run.stdout + run.stderr
    summary = json.loads(run.stdout.splitlines()[-1])
    assert summary["event"] == "summary" and summary["stopped"] and not summary["failed"], run.stdout
    assert "Traceback" not in run.stderr
    held_to_its_promises(out, wanted, moment)
    again = rushlight(*command, "--out", out)
    assert again.returncode == 0, again.stdout + again.stderr
    assert delivered(out) == wanted and not (out / ".work").exists()


def told(how: str) -> Callable[[], None]:
    return lambda: os.kill(os.getpid(), getattr(signal, how))


@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize("moment", ALWAYS)
def test_a_stop(
    day: tuple[Any, ...],
    tmp_path: Path,
    farm_here: HereFarm,
    monkeypatch: pytest.MonkeyPatch,
    moment: str,
    how: str,
) -> None:
    (command, wanted), out = day, tmp_path / "out"
    before(moment, told(how), monkeypatch.setattr)
    code, said = run(*command, "--json", "--out", out)
    summary = json.loads(said.splitlines()[-1])
    assert code == 3 and summary["event"] == "summary" and summary["stopped"], said
    assert not summary["failed"] and (summary["left"] > 0) == (moment in ("baking", "joining"))
    held_to_its_promises(out, wanted, moment)
    assert run(*command, "--out", out)[0] == 0  # and goes on
    assert delivered(out) == wanted and not (out / ".work").exists()


@pytest.mark.parametrize(("moment", "how"), [("joining", "SIGTERM"), ("reporting", "SIGINT")])
def test_a_queue_that_is_stopped(
    day: tuple[Any, ...],
    tmp_path: Path,
    farm_here: HereFarm,
    monkeypatch: pytest.MonkeyPatch,
    moment: str,
    how: str,
) -> None:
    (command, wanted), out, queue = day, tmp_path / "out", ("--queue", tmp_path / "q.sqlite")
    assert run("queue", "add", *command[1:4], "--out", out, *queue)[0] == 0
    before(moment, told(how), monkeypatch.setattr)
    code, said = run("queue", "run", *queue, "--json")
    summary = json.loads(said.splitlines()[-1])
    assert code == 3 and summary["stopped"] and (summary["left"] > 0) == (moment == "joining"), said
    held_to_its_promises(out, wanted, moment)
    assert run("queue", "run", *queue)[0] == 0 and delivered(out) == wanted


def test_a_queue_that_stays_is_told_to_go(
    day: tuple[Any, ...], tmp_path: Path, farm_here: HereFarm, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With nothing left that is its ordinary end."""
    before("waiting", told("SIGTERM"), monkeypatch.setattr)
    code, said = run("queue", "run", "--queue", tmp_path / "q.sqlite", "--stay")
    assert code == 0 and "stopping" in said, said


@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM", "SIGHUP"])
@pytest.mark.parametrize("what", ["plan", "queue add", "verify", "report"])
def test_short_commands_stop_where_they_are(
    day: tuple[Any, ...],
    tmp_path: Path,
    farm_here: HereFarm,
    monkeypatch: pytest.MonkeyPatch,
    what: str,
    how: str,
) -> None:
    made = day[0][1].with_name("undisturbed")
    kept = {p: p.read_bytes() for p in made.rglob("*") if p.is_file()}
    moment, arguments = {
        "plan": ("planning", day[0][1:4]),
        "queue add": ("planning", (*day[0][1:4], "--out", tmp_path, "--queue", tmp_path / "q.sqlite")),
        "verify": ("measuring", (made,)),
        "report": ("page", (made,)),
    }[what]
    before(moment, told(how), monkeypatch.setattr)
    code, said = run(*what.split(), *arguments)
    assert (code, said.splitlines()[-1]) == (3, "rushlight: stopped")
    assert {p: p.read_bytes() for p in made.rglob("*") if p.is_file()} == kept


def test_workers_hear_nothing_of_it(day: tuple[Any, ...], tmp_path: Path) -> None:
    """With processes of their own: SIGTERM to the whole group while the first segments are rendered."""
    stopped(day, tmp_path / "out", "first segment", "SIGTERM", here=False)


@pytest.mark.slow
@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize("moment", NIGHT)
def test_a_stop_with_workers(day: tuple[Any, ...], tmp_path: Path, moment: str, how: str) -> None:
    stopped(day, tmp_path / "out", moment, how, here=False)


# --- a terminal that goes


def on_a_terminal(moment: str, *command: object, here: bool, **environment: str) -> tuple[int, str]:
    """The command on a terminal of its own, which is closed at that moment. Gives its exit code and what was seen."""
    ours, theirs = pty.openpty()
    ready, tell = os.pipe()
    words = [sys.executable, "-W", "ignore", STRUCK, moment, "hangup", *(["here"] if here else []), "--"]
    seen = b""
    process = subprocess.Popen(
        ["setsid", "--ctty", "--wait", *(str(w) for w in (*words, *command))],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        pass_fds=[tell],
        env={
            **os.environ,
            "PYTHONSAFEPATH": "",  # a farm may have left its workers' environment
            "STRUCK": str(tell),
            **environment,
        },
    )
    os.close(theirs)
    os.close(tell)
    try:
        while ready not in (there := select.select([ours, ready], [], [], 300)[0]):
            assert there, "nothing happens"
            seen += os.read(ours, 4096)
        assert os.read(ready, 3) == b"now", seen.decode(errors="replace")
        os.close(ours)
        return process.wait(300), seen.decode(errors="replace")
    finally:
        process.kill()
        os.close(ready)


def goes_on(day: tuple[Any, ...], out: Path, moment: str, *, here: bool) -> None:
    command, wanted = day
    code, seen = on_a_terminal(moment, *command, "--out", out, here=here)
    said = (out / FILE).read_text()
    assert code == 0, seen + said
    assert "the terminal was closed or lost" in said and "Traceback" not in said
    assert "to " + str(out) in said  # the summary
    assert delivered(out) == wanted and (out / "report" / "index.html").is_file()


@pytest.mark.parametrize(
    "moment", [m if m in ("planning", "joining") else pytest.param(m, marks=pytest.mark.slow) for m in ALWAYS]
)
def test_a_closed_terminal_ends_no_night(day: tuple[Any, ...], tmp_path: Path, moment: str) -> None:
    goes_on(day, tmp_path / "out", moment, here=True)


@pytest.mark.slow
@pytest.mark.parametrize("moment", NIGHT)
def test_a_closed_terminal_with_workers(day: tuple[Any, ...], tmp_path: Path, moment: str) -> None:
    goes_on(day, tmp_path / "out", moment, here=False)


# --- the rules, by themselves


def sent(*numbers: int) -> None:
    for number in numbers:
        signal.raise_signal(number)


def test_where_nothing_is_in_hand_a_signal_stops_at_once() -> None:
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        with pytest.raises(Stopped), listening():
            sent(number)


def test_what_is_in_hand_has_a_moment(monkeypatch: pytest.MonkeyPatch) -> None:
    stop, clock = Stop(), [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: clock[0])
    with listening(night=True), minded(stop):
        sent(signal.SIGTERM)
        assert stop.asked and not stop.due
        clock[0] += 7.9
        assert not stop.due
        clock[0] += 0.2
        assert stop.due


def test_a_second_one_ends_the_process(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    codes: list[int] = []
    monkeypatch.setattr(os, "_exit", codes.append)
    stop = Stop()
    with listening(), minded(stop):
        sent(signal.SIGTERM, signal.SIGINT)
    assert codes == [3] and "stopped at once; the same command goes on from here" in capfd.readouterr().err


def test_a_command_of_the_users_is_ended_and_not_the_night(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "_exit", lambda code: pytest.fail("the process would have ended"))
    with listening(night=True):
        for _ in range(2):  # the command for failures, and the other one
            with pytest.raises(Stopped), obeyed():
                sent(signal.SIGINT)


def test_what_was_ignored_stays_so() -> None:
    """As `nohup` and a shell's background jobs have it."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with listening(night=True):
            on_hangup(lambda: pytest.fail("it was ignored"))
            sent(signal.SIGHUP)
            assert signal.getsignal(signal.SIGHUP) == signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_a_stop_that_nobody_could_hear_is_minded_later() -> None:
    """Python drops what is raised in a destructor."""
    stop = Stop()
    with listening():
        with pytest.raises(Stopped):
            sent(signal.SIGINT)
        with minded(stop):
            assert stop.asked


def test_what_starts_deaf_hears_nothing_and_neither_does_what_it_starts() -> None:
    def masks() -> list[set[int]]:
        found: list[set[int]] = []
        thread = threading.Thread(target=lambda: found.append(signal.pthread_sigmask(signal.SIG_BLOCK, ())))
        thread.start()
        thread.join()
        code = "import signal; print(*map(int, signal.pthread_sigmask(signal.SIG_BLOCK, ())))"
        said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
        return [*found, set(map(int, said.split()))]

    wanted = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    assert all(mask >= wanted for mask in deaf(masks, lambda late: None))
    assert not any(mask & wanted for mask in masks())  # and we ourselves hear as before


def test_what_starts_too_late_is_put_away() -> None:
    put_away, stopped = threading.Event(), threading.Event()

    def slow() -> str:
        os.kill(os.getpid(), signal.SIGTERM)
        assert stopped.wait(20)
        return "late"

    with listening(), pytest.raises(Stopped):
        try:
            deaf(slow, lambda late: put_away.set() if late == "late" else None)
        finally:
            stopped.set()
    assert put_away.wait(20)
