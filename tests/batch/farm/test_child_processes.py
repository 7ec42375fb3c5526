"""Workers of a command are forks of one process, which has loaded what they need; those of a program are not."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from rushlight.batch.farm import child_processes

COMMAND = """
import json, os, signal, sys, time
import psutil
from rushlight.batch.own_process import own_process
from rushlight.batch.farm.dask_farm import LostWorker, Task
from rushlight.batch.farm.worker_options import Crew

if OWN:
    own_process()
out = {"out": sys.argv[1], "job": "a"}
farm = Crew(workers=2).farm(2, tell=lambda text: None, gone=lambda text: None, ahead=("rushlight.batch.job_log",))

def results(count):
    found = []
    while len(found) < count:
        found += farm.results(0.1)
    return found

def asked(name):
    for k in range(2):
        farm.submit(Task(key=f"{name}{k}", function="toywork:environment", arguments=(out,)))
    return [result.value for result in results(2)]

def lives(pid):
    try:
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False

def parents():
    return sorted({psutil.Process(pid).ppid() for pid in farm.processes().values()})

told = {"own": os.getpid(), "first": asked("a"), "parents": parents()}
if OWN:
    farm.submit(Task(key="b", function="toywork:segment", arguments=(out | {"seconds": 100}, 0, "t")))
    while not os.path.exists(os.path.join(sys.argv[1], "calls.txt")):
        farm.results(0.1)
    before = list(farm.processes().values())
    os.kill(told["parents"][0], signal.SIGKILL)
    (lost,) = results(1)
    told["lost"] = isinstance(lost.error, LostWorker)
    while farm.slots < 2 or any(map(lives, before)):
        farm.results(0.1)
    told["second"], told["anew"] = asked("c"), parents()
farm.close()
print(json.dumps(told))
"""


PLANTED = """
import multiprocessing, sys
from rushlight.batch.own_process import own_process
from rushlight.batch.farm.child_processes import fork_ahead

if __name__ == "__main__":
    own_process()
    fork_ahead(["planted"])
    child = multiprocessing.get_context("forkserver").Process(target=print)
    child.start()
    child.join()
    sys.exit(child.exitcode)
"""


def told(own: bool, folder: object) -> dict:
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            f"import sys; sys.path[:0] = {sys.path!r}\nOWN = {own}\n{COMMAND}",
            str(folder),
        ],
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
    )
    return json.loads(done.stdout)


@pytest.mark.skipif(not child_processes.POSSIBLE, reason="no fork server here")
def test_workers_of_a_command_are_forks_that_end_with_the_process_they_are_forks_of(tmp_path: object) -> None:
    """Killed, it takes its forks with it, in the middle of their work: what they had is given back, and others come."""
    found = told(True, tmp_path)
    (server,) = found["parents"]
    (another,) = found["anew"]
    assert len({found["own"], server, another}) == 3 and found["lost"]
    assert {each["threads"] for each in found["first"] + found["second"]} == {"1 1 1"}
    assert {each["loaded"] for each in found["first"] + found["second"]} == {True}


def test_workers_of_a_program_are_its_own_children(tmp_path: object) -> None:
    """Its multiprocessing is its own: no fork server is begun in it."""
    found = told(False, tmp_path)
    assert found["parents"] == [found["own"]]
    assert {each["loaded"] for each in found["first"]} == {False}


@pytest.mark.skipif(not child_processes.POSSIBLE, reason="no fork server here")
def test_nothing_is_loaded_from_the_folder_somebody_works_in(tmp_path: Path) -> None:
    """A folder of cards may hold an av.py, or somebody's cupy.py: it is not ours to run."""
    for name in ("planted", "distributed", "numba", "cupy", "struct"):
        (tmp_path / f"{name}.py").write_text("open('run', 'a').write(__name__)")
    (tmp_path / "begin").mkdir()
    script = tmp_path / "begin" / "command.py"
    script.write_text(PLANTED)
    subprocess.run([sys.executable, str(script)], cwd=tmp_path, timeout=300, check=True)
    assert not (tmp_path / "run").exists()


def test_other_programs_have_the_environment_that_this_process_began_with(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A worker that starts again leaves its own in ours; a hook in Python would not find what lies beside it."""
    began = child_processes.environment_of_others()
    for name, value in child_processes.ENVIRONMENT.items():
        monkeypatch.setenv(name, f"{value}00")
    monkeypatch.setenv("RUSHLIGHT_OTHER", "stays")
    assert child_processes.environment_of_others() == began | {"RUSHLIGHT_OTHER": "stays"}


def test_a_folder_of_too_long_a_name_for_a_socket_costs_the_fork_server_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refuse() -> None:
        raise OSError("AF_UNIX path too long")

    monkeypatch.setattr(child_processes, "is_own", lambda: True)
    monkeypatch.setattr(child_processes, "_loaded", [])
    monkeypatch.setattr("multiprocessing.forkserver.ensure_running", refuse)
    child_processes.fork_ahead(("rushlight.batch.job_log",))
    assert not child_processes.forking()
