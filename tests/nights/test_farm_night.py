"""A night on a farm: Dask's own scheduler and workers over TLS, in environments of their own, the folders mounted
elsewhere; one worker cut off in the middle, another with a plain processor and a graphics card, a stranger turned away. The bytes are those of one machine."""

import json
import os
import shutil
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import here
from card_as_c import COMPILER, needs_compiler
from command import rushlight, started
from logged import latest, read_records
from machines import Machine, Network, authority, there
from test_kills import CLIPS, FOLDERS, delivered, done, events, made_up_day

GENERIC = {"NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": ""}
# A card that runs its kernel as C, where there is a compiler for it.
CARD = {"PYTHONPATH": str(Path(__file__).parent.parent / "support" / "toy_card")} if COMPILER else {}


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[object, ...]]:
    """A folder that all machines share, with originals, list and recipe; and the command without --out."""
    folder = tmp_path_factory.mktemp("farm") / "shared"
    folder.mkdir()
    command = made_up_day(folder, "256x144", 24)  # a segment takes long enough to be hit in
    return folder, tuple(a for a in command if a not in ("--workers", 2))


@pytest.fixture(scope="module")
def alone(day: tuple[Path, tuple[object, ...]]) -> tuple[dict[str, bytes], dict[str, str]]:
    """What a night in this process delivers, without workers: bytes, and the digests of the colour."""
    folder, command = day
    out = folder / "alone"
    run = here.rushlight(*command, "--out", out)
    assert run.returncode == 0, run.stdout + run.stderr
    return delivered(out), digests(out)


def digests(out: Path) -> dict[str, str]:
    return {r["clip"]: r["colour"]["digest"] for r in latest(read_records(out)).values()}


def graders(out: Path) -> Counter[str]:
    """Frames of a night by who graded them."""
    made = [m for r in latest(read_records(out)).values() for m in r["made_with"]]
    return sum((Counter({run["by"]: run["frames"]}) for m in made for run in m["graded_by"]), Counter())


def wait(what: Callable[[], bool], process: subprocess.Popen, said: Path, seconds: float = 240) -> None:
    deadline = time.monotonic() + seconds
    while not what():
        assert process.poll() is None and time.monotonic() < deadline, said.read_text()
        time.sleep(0.02)


def segments(said: Path) -> int:
    return sum(e["event"] == "segment" for e in events(said))


@pytest.mark.slow  # two workers: the nights of test_kills and test_render
def test_more_workers_give_the_same_bytes(day: tuple, alone: tuple, tmp_path: Path) -> None:
    _, command = day
    run = rushlight(*command, "--out", tmp_path / "out", "--workers", 4)
    assert run.returncode == 0, run.stdout + run.stderr
    assert (delivered(tmp_path / "out"), digests(tmp_path / "out")) == alone


def test_a_night_over_tls_with_a_worker_cut_off(
    day: tuple, alone: tuple, machines: Callable[..., Machine], tmp_path: Path
) -> None:
    folder, command = day
    (tmp_path / "mnt").symlink_to(folder)  # the others' mount point
    papers = authority(tmp_path / "farm", "runner", "scheduler", "first", "plain", "late")
    strangers = authority(tmp_path / "strangers", "stranger")
    address = machines("boss").scheduler(papers["scheduler"])
    first, plain = machines("first"), machines("plain", **GENERIC, **CARD)
    first.workers(address, papers["first"])
    plain.workers(address, papers["plain"])
    stranger, bare = machines("stranger"), machines("bare")
    turned_away = [
        stranger.workers(address, strangers["stranger"]),
        bare.workers(address.replace("tls://", "tcp://"), None),
    ]

    out, said = folder / "farmed", tmp_path / "said.jsonl"
    elsewhere = ("--scheduler", address, "--map", f"{folder}={tmp_path / 'mnt'}", "--stalled-after", 1)
    whole = (*command, "--out", out, *elsewhere)
    no_key = here.rushlight(*whole)
    assert no_key.returncode == 2 and "--tls-ca-file" in no_key.stderr
    wrong = rushlight(*whole, *strangers["stranger"].dask)
    assert wrong.returncode == 2 and "does not answer" in wrong.stderr, wrong.stderr
    assert not delivered(out)

    there(address, papers["runner"], 2)
    with said.open("w") as stdout, said.with_suffix(".errors").open("w") as stderr:
        process = started(*whole, *papers["runner"].dask, stdout=stdout, stderr=stderr)
    try:
        wait(lambda: segments(said) >= 2, process, said)
        first.off()  # the mains: worker and who minds it
        wait(
            lambda: any(e["event"] == "warning" and "has left" in e["text"] for e in events(said)),
            process,
            said,
        )
        before = segments(said)
        wait(lambda: segments(said) > before, process, said)  # by the plain processor, there being no other
        machines("late").workers(address, papers["late"])
        code = process.wait(timeout=300)
    finally:
        process.kill()
    told = said.read_text() + said.with_suffix(".errors").read_text()
    assert code == 0, told
    assert "has joined" in told or segments(said) == 10, told
    assert (delivered(out), digests(out)) == alone
    assert ("Toy" in graders(out)) == bool(CARD)
    assert set(done(out).values()) == {1} and len(done(out)) == len(CLIPS)
    sources = {Path(r["source"]["path"]).parent for r in latest(read_records(out)).values()}
    assert sources == {folder}  # the runner's names, whoever read them
    for process in turned_away:
        assert process.wait(timeout=90) != 0


@pytest.mark.slow
@needs_compiler
def test_a_machine_without_the_card_that_is_required_gets_no_work(
    day: tuple, alone: tuple, machines: Callable[..., Machine], tmp_path: Path
) -> None:
    folder, command = day
    papers = authority(tmp_path / "farm", "runner", "scheduler", "with", "without")
    address = machines("boss").scheduler(papers["scheduler"])
    machines("with", **CARD).workers(address, papers["with"])
    machines("without").workers(address, papers["without"])
    there(address, papers["runner"], 2)
    out = folder / "by-cards"
    farm = ("--scheduler", address, *papers["runner"].dask, "--graphics", "require")
    run = rushlight(*command, "--out", out, *farm)
    assert run.returncode == 0, run.stdout + run.stderr
    said = [e["text"] for e in map(json.loads, run.stdout.splitlines()) if e["event"] == "warning"]
    (told,) = (
        text for text in said if "does not grade on a graphics card, as --graphics require asks" in text
    )
    assert told.endswith("once it does, start the worker again; it gets no work")
    assert (delivered(out), digests(out)) == alone
    assert graders(out) == {"Toy": sum(CLIPS.values())}


@pytest.fixture()
def network() -> Iterator[Network]:
    """Hosts with networks of their own, where this machine lets us make them."""
    if os.geteuid() or not shutil.which("ip") or not shutil.which("mount"):
        pytest.skip("hosts with networks of their own need root, iproute2 and mount")
    found = Network()
    try:
        yield found
    finally:
        found.close()


def apart(network: Network, seen: Path, at: Path) -> tuple[list[str], str]:
    """What to put ahead of the commands of a host of its own, which sees `seen` at `at` and an empty folder in its
    place; and our address. Skips where that is not allowed."""
    try:
        name, us, _ = network.host()
    except OSError as error:
        pytest.skip(f"no network namespaces here: {error}")
    at.mkdir(parents=True, exist_ok=True)
    mounts = f'mount --bind {seen} {at} && mount -t tmpfs none {seen} && exec "$@"'
    prefix = ["ip", "netns", "exec", name, "sh", "-c", mounts, "sh"]
    tried = subprocess.run([*prefix, "ls", str(at)], capture_output=True, text=True)
    if tried.returncode or "day.csv" not in tried.stdout:
        pytest.skip(f"no mounts in a namespace here: {tried.stderr.strip()}")
    return prefix, us


@pytest.mark.slow
def test_hosts_of_their_own_with_the_cable_pulled_and_a_disk_not_mounted(
    day: tuple, alone: tuple, machines: Callable[..., Machine], network: Network, tmp_path: Path
) -> None:
    """Three hosts: one whose cable is pulled while it works, one where the folder is not mounted, one that is well.
    None has the folder where the runner has it."""
    folder, command = day
    cut, us = apart(network, folder, tmp_path / "mnt" / "cut")
    well, _ = apart(network, folder, tmp_path / "mnt" / "well")
    blind = [*well[:4], "sh", "-c", f'mount -t tmpfs none {folder} && exec "$@"', "sh"]
    papers = authority(tmp_path / "farm", "runner", "scheduler", "worker")
    address = machines("boss").scheduler(papers["scheduler"], host="0.0.0.0")
    port = address.rpartition(":")[2]
    networks = (f"tls://10.213.0.1:{port}", f"tls://10.213.1.1:{port}")
    machines("cut", prefix=cut).workers(networks[0], papers["worker"])
    machines("well", prefix=well).workers(networks[1], papers["worker"])
    machines("blind", prefix=blind).workers(networks[1], papers["worker"])
    there(f"tls://127.0.0.1:{port}", papers["runner"], 3)
    out, said = folder / "apart", tmp_path / "said.jsonl"
    maps = [a for at in ("cut", "well") for a in ("--map", f"{folder}={tmp_path / 'mnt' / at}")]
    whole = (*command, "--out", out, "--scheduler", f"tls://{us}:{port}", *maps, "--stalled-after", 0.5)
    with said.open("w") as stdout, said.with_suffix(".errors").open("w") as stderr:
        process = started(*whole, *papers["runner"].dask, stdout=stdout, stderr=stderr)
    try:
        wait(lambda: segments(said) >= 2, process, said)
        network.cut(0)
        code = process.wait(timeout=400)
    finally:
        process.kill()
    told = said.read_text() + said.with_suffix(".errors").read_text()
    print(told)
    assert code == 0, told
    assert "does not see the output folder" in told
    assert (delivered(out), digests(out)) == alone
    assert set(done(out).values()) == {1} and len(done(out)) == len(CLIPS)
    before = {p: p.stat().st_mtime_ns for f in FOLDERS for p in (out / f).iterdir()}
    network.cut(0, "up")  # whoever was cut off comes back, and changes nothing
    time.sleep(8)
    assert {p: p.stat().st_mtime_ns for f in FOLDERS for p in (out / f).iterdir()} == before
    assert not (out / ".work").exists()
