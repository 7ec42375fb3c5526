"""Where tasks run: loopback only or TLS; every worker asked before it works; who leaves, hangs or is refused."""

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest

import toywork
from machines import Machine, Papers, authority, crew, there
from rushlight.batch.farm.dask_cluster import safe
from rushlight.batch.farm.dask_farm import DaskFarm, LostWorker, Result, Task
from rushlight.batch.farm.worker_options import Crew
from rushlight.pipelines.errors import OptionError, QueueError

OTHER_NUMPY = "numpy-1.0.dist-info"


def task(key: str, out: Path, seconds: float = 0.0, does: str = "") -> Task:
    payload = {"out": str(out), "job": key[0], "seconds": seconds, "does": does}
    return Task(key=key, function="toywork:segment", arguments=(payload, 0, "t"))


def until(farm: DaskFarm, what: Callable[[list[Result]], bool], seconds: float = 60) -> list[Result]:
    """Results until that holds."""
    found: list[Result] = []
    deadline = time.monotonic() + seconds
    while not what(found):
        assert time.monotonic() < deadline, (found, farm.slots)
        found += farm.results(0.1)
    return found


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Papers]:
    return authority(tmp_path_factory.mktemp("ca") / "farm", "runner", "scheduler", "worker")


@pytest.fixture(scope="module")
def scheduler(papers: dict[str, Papers], tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    machine = Machine(tmp_path_factory.mktemp("scheduler") / "m")
    try:
        yield machine.scheduler(papers["scheduler"])
    finally:
        machine.off()


def joined(farm: DaskFarm, count: int) -> None:
    until(farm, lambda _: farm.slots == count)


def lives(process: int) -> bool:
    with contextlib.suppress(psutil.NoSuchProcess):
        return psutil.Process(process).status() != psutil.STATUS_ZOMBIE
    return False


async def done(value: object) -> object:
    return value


def test_workers_that_are_asked_for_later_join_and_are_like_the_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm = DaskFarm(workers=1)
    try:
        farm.grow(1)
        farm.grow(2)
        joined(farm, 2)
        for k in range(2):
            farm.submit(
                Task(key=f"e{k}", function="toywork:environment", arguments=({"out": str(tmp_path)},))
            )
        found = until(farm, lambda found: len(found) == 2)
        assert len({result.value["process"] for result in found}) == 2
        assert {result.value["threads"] for result in found} == {"1 1 1"}
        monkeypatch.setattr("distributed.nanny.WorkerProcess.kill", lambda *_, **how: done(None))
        farm.close()  # nothing is in hand: they are ended, not asked, and none comes in their place
        numbers = [result.value["process"] for result in found]
        deadline = time.monotonic() + 20
        while any(map(lives, numbers)):
            assert time.monotonic() < deadline, numbers
            time.sleep(0.05)
    finally:
        farm.close(now=True)


def test_two_at_once_are_quiet_and_listen_on_loopback_only() -> None:
    first = DaskFarm(workers=1)
    try:
        second = DaskFarm(workers=1)  # a warning of a taken port would be an error here
        try:
            people = [psutil.Process(os.getpid()), *psutil.Process(os.getpid()).children(recursive=True)]
            places = {
                c.laddr.ip
                for p in people
                for c in p.net_connections("inet")
                if c.status == psutil.CONN_LISTEN
            }
            assert places == {"127.0.0.1"}
            assert set(first.processes().values()).isdisjoint(second.processes().values())
        finally:
            second.close(now=True)
    finally:
        first.close(now=True)


def test_a_worker_that_hangs_or_stands_still_is_ended_and_its_task_given_back(tmp_path: Path) -> None:
    farm = DaskFarm(workers=2, patience=2.5)
    try:
        before = set(farm.processes().values())
        farm.submit(task("a", tmp_path, seconds=1000))  # hangs, its heart beating
        (lost,) = until(farm, lambda found: bool(found))
        assert isinstance(lost.error, LostWorker) and "got nothing done for 2 s" in str(lost.error)
        joined(farm, 2)
        farm.submit(task("b", tmp_path, seconds=1.5))
        for process in farm.processes().values():
            os.kill(process, signal.SIGSTOP)
        (lost,) = until(farm, lambda found: bool(found))
        assert isinstance(lost.error, LostWorker) and lost.key == "b"
        farm.submit(task("c", tmp_path))  # to the other one that stands still, or to one that is new
        for result in until(farm, lambda found: bool(found)):
            assert isinstance(result.error, LostWorker) or result.value["frames"] == 1
        joined(farm, 2)
        assert before.isdisjoint(farm.processes().values())
        assert not any(psutil.pid_exists(pid) and _stands(pid) for pid in before)
        farm.submit(task("e", tmp_path, seconds=7))
        time.sleep(6)  # who asks nothing for long, as after Ctrl-Z, blames nobody
        assert until(farm, lambda found: bool(found))[0].value["frames"] == 1
        farm.submit(task("d", tmp_path))
        assert until(farm, lambda found: bool(found))[0].value["frames"] == 1
    finally:
        farm.close(now=True)


def _stands(pid: int) -> bool:
    return psutil.Process(pid).status() == psutil.STATUS_STOPPED


def test_a_clock_set_back_starts_the_workers_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Here by a changed reading alone; the whole command under a clock set back: test_night_faults.py, slow."""
    said: list[str] = []
    farm = DaskFarm(workers=1, tell=said.append)
    try:
        before = farm.processes()
        farm.submit(task("a", tmp_path, seconds=3))
        until(farm, lambda _: (tmp_path / "calls.txt").exists())
        farm._ahead += 3600
        (result,) = until(farm, lambda found: bool(found))
        assert result.key == "a" and result.value["frames"] == 1  # done again, and charged to nobody
        assert said == ["the clock was set back by 3600 s: the workers are started again"]
        assert farm.slots == 1 and set(before.values()).isdisjoint(farm.processes().values())
        assert not any(psutil.pid_exists(process) for process in before.values())
    finally:
        farm.close(now=True)


def test_a_worker_killed_while_it_starts_costs_no_night() -> None:
    """kill -9 of the first worker process as soon as it is there: Dask gives the whole cluster up for it."""
    here, killed = psutil.Process(os.getpid()), []

    def killer() -> None:
        deadline = time.monotonic() + 30
        while not killed and time.monotonic() < deadline:
            for child in here.children():
                with contextlib.suppress(psutil.Error):
                    if "spawn_main" in " ".join(child.cmdline()):
                        child.kill()
                        killed.append(child.pid)
                        return
            time.sleep(0.005)

    thread = threading.Thread(target=killer)
    thread.start()
    farm = DaskFarm(workers=1)
    thread.join()
    try:
        assert killed and farm.slots == 1
    finally:
        farm.close(now=True)


def test_who_is_safe_from_strangers(tmp_path: Path) -> None:
    for address in ("tls://10.0.0.5:8786", "tcp://127.0.0.1:8786", "localhost:8786", "tcp://[::1]:8786"):
        assert safe(address), address
    for address in ("tcp://10.0.0.5:8786", "10.0.0.5:8786", "ws://farm:80", "tcp://0.0.0.0:1", ""):
        assert not safe(address), address
    with pytest.raises(QueueError, match="needs TLS"):
        DaskFarm(address="tcp://10.0.0.5:8786")
    with pytest.raises(OptionError, match="--tls-cert"):
        Crew(scheduler="tls://127.0.0.1:1").security()


def test_an_open_scheduler_is_refused_and_one_of_this_machine_is_not(
    machines: Callable[..., Machine], tmp_path: Path
) -> None:
    wide = machines("wide")
    address = wide.scheduler(None, host="0.0.0.0")
    port = address.rpartition(":")[2]
    if not safe(address):  # a machine without another address than the loopback has none to be seen at
        with pytest.raises(QueueError, match=r"listens at .*open to strangers"):
            DaskFarm(address=f"tcp://127.0.0.1:{port}")
    own = machines("own")
    address = own.scheduler(None)
    with pytest.raises(QueueError, match="has no workers"):
        DaskFarm(address=address)
    own.workers(address, None, 1, "--host", "127.0.0.1")
    farm = _patient(address)
    try:
        farm.submit(task("a", tmp_path))
        assert until(farm, lambda found: bool(found))[0].value["frames"] == 1
    finally:
        farm.close()


def _patient(address: str) -> DaskFarm:
    """The farm, once its first worker is there."""
    for _ in range(20):
        try:
            return DaskFarm(address=address)
        except QueueError as error:
            assert "has no workers" in str(error)
    raise AssertionError("no worker came")


def test_versions_are_asked_before_work_starts_and_of_everybody_who_joins(
    machines: Callable[..., Machine], scheduler: str, papers: dict[str, Papers], tmp_path: Path
) -> None:
    fake = tmp_path / "ahead"
    (fake / OTHER_NUMPY).mkdir(parents=True)
    (fake / OTHER_NUMPY / "METADATA").write_text("Metadata-Version: 2.1\nName: numpy\nVersion: 1.0\n")
    there(scheduler, papers["runner"], 0)
    other = machines("other", ahead=[fake])
    other.workers(scheduler, papers["worker"])
    right = machines("right")
    right.workers(scheduler, papers["worker"])
    there(scheduler, papers["runner"], 2)
    said: list[str] = []
    hired = crew(scheduler, papers["runner"])
    with pytest.raises(QueueError, match=r"worker tls://\S+ on \S+ has other versions: numpy 1.0 \(here 2"):
        hired.farm(1, tell=said.append, gone=said.append)
    other.off()
    there(scheduler, papers["runner"], 1)
    farm = hired.farm(1, tell=said.append, gone=said.append)
    try:
        assert farm.slots == 1 and not said
        machines("late", ahead=[fake]).workers(scheduler, papers["worker"])
        machines("later").workers(scheduler, papers["worker"])
        joined(farm, 2)
        until(farm, lambda _: any("numpy 1.0" in text and "it gets no work" in text for text in said))
        assert farm.slots == 2
        for key in "abcd":  # no more than there are slots, none to the one that was refused
            farm.submit(task(key, tmp_path, seconds=0.2))
        assert len(until(farm, lambda found: len(found) == 4)) == 4
        used = {int(line.split()[2]) for line in (tmp_path / "calls.txt").read_text().splitlines()}
        assert used == set(farm.processes().values())
    finally:
        farm.close()


def test_workers_come_and_go_and_a_machine_of_two_costs_a_clip_one_loss(
    machines: Callable[..., Machine], scheduler: str, papers: dict[str, Papers], tmp_path: Path
) -> None:
    there(scheduler, papers["runner"], 0)
    first = machines("first")
    first.workers(scheduler, papers["worker"], 2)
    there(scheduler, papers["runner"], 2)
    said: list[str] = []
    farm = crew(scheduler, papers["runner"]).farm(1, tell=said.append, gone=said.append)
    try:
        assert farm.slots == 2
        assert set(farm._client.run(toywork.puts_on_disk).values()) == {
            (False, False)
        }  # so nothing is read there
        for key in ("a-1", "a-2"):  # both of job "a"
            farm.submit(task(key, tmp_path, seconds=1000))
        until(farm, lambda _: farm.slots == 2 and (tmp_path / "calls.txt").exists())
        first.off()
        found = until(farm, lambda _: farm.slots == 0)
        assert [type(result.error) for result in found] == [LostWorker]
        assert sum("has left" in text for text in said) == 2
        assert farm.results(0.5) == []  # the other task waits for somebody to do it
        machines("second").workers(scheduler, papers["worker"], 1)
        joined(farm, 1)
        until(farm, lambda _: len((tmp_path / "calls.txt").read_text().splitlines()) == 3)
        assert any("has joined; 1 at work" in text for text in said)
    finally:
        farm.close()


def test_a_scheduler_that_is_gone_is_said_once_nobody_answers(
    machines: Callable[..., Machine],
    papers: dict[str, Papers],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from rushlight.batch.farm import dask_farm as module

    monkeypatch.setattr(module, "GONE", 2.0)
    boss, hand = machines("boss"), machines("hand")
    address = boss.scheduler(papers["scheduler"])
    hand.workers(address, papers["worker"])
    there(address, papers["runner"], 1)
    gone: list[str] = []
    farm = crew(address, papers["runner"]).farm(1, tell=lambda text: None, gone=gone.append)
    try:
        farm.submit(task("a", tmp_path, seconds=1000))
        boss.off()
        found = until(farm, lambda _: bool(gone))
        assert "has not answered for 2 s" in gone[0]
        assert not found  # nothing is charged to the clip
    finally:
        farm.close(now=True)
