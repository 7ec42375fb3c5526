"""Three hosts for real: network namespaces on a wire that loses 1 % and delays 50 ms, file trees of their own, a clock 30 s behind, a cable pulled.

The scheduler and the runner are on the first. The night ends with the bytes of a calm one.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from command import CALL
from machines import Machine, authority, there
from test_farm_night import alone, apart, day, digests, segments, wait  # noqa: F401
from test_kills import CLIPS, FOLDERS, delivered, done, events
from wire import Carried, Wire

# Python code that a machine runs as it starts: its clock is behind. `datetime.now` and the kernel's times of files are not.
BEHIND = (  # once, however often a machine reads its .pth files
    "import sys, time; 'behind' in sys.modules or sys.modules.update(behind=time) or ("
    "setattr(time, 'time', lambda now=time.time: now() - 30), "
    "setattr(time, 'time_ns', lambda now=time.time_ns: now() - 30 * 10**9))\n"
)


@pytest.fixture()
def wire() -> Iterator[Wire]:
    if os.geteuid() or not shutil.which("ip") or not os.path.exists("/dev/net/tun"):
        pytest.skip("hosts on a wire of ours need root, iproute2 and /dev/net/tun")
    try:
        found = Wire()
    except OSError as error:
        pytest.skip(f"no TUN device here: {error}")
    try:
        yield found
    finally:
        found.close()


def hosts_on(wire: Wire, count: int) -> list[tuple[str, str]]:
    """Hosts' namespaces and addresses."""
    try:
        return [(name, address) for name, _, address in (wire.host() for _ in range(count))]
    except OSError as error:
        pytest.skip(f"no network namespaces here: {error}")


ECHO = "import socket; s = socket.create_server(('', 7001)); c, _ = s.accept()\nwhile b := c.recv(65536): c.sendall(b)"


def test_the_wire_loses_delays_and_is_pulled(wire: Wire) -> None:
    """TCP gets everything through all the same: sent again by the hosts themselves."""
    [(name, address)] = hosts_on(wire, 1)
    echo = subprocess.Popen(["ip", "netns", "exec", name, sys.executable, "-c", ECHO])
    try:
        sent = os.urandom(2_000_000)
        deadline = time.monotonic() + 60
        while True:
            try:
                link = socket.create_connection((address, 7001), timeout=60)
                break
            except ConnectionRefusedError:
                assert time.monotonic() < deadline
                time.sleep(0.05)
        wire.loss, wire.delay = 0.02, 0.002
        back = bytearray()
        with link:
            for start in range(0, len(sent), 50_000):
                link.sendall(sent[start : start + 50_000])
                while len(back) < start + 50_000:
                    back += link.recv(65536)
        assert bytes(back) == sent
        assert wire.carried.lost > 0 and wire.retransmitted() > 0
        wire.pulled.add(2)
        with pytest.raises(OSError, match="timed out"):
            socket.create_connection((address, 7001), timeout=0.3)
    finally:
        echo.kill()
        echo.wait()


@pytest.mark.slow
def test_three_hosts_that_lose_delay_and_lag_end_as_a_calm_night(
    day: tuple,  # noqa: F811
    alone: tuple,  # noqa: F811
    machines: Callable[..., Machine],
    wire: Wire,
    tmp_path: Path,
) -> None:
    folder, command = day
    [(boss, us)] = hosts_on(wire, 1)
    cart = machines("cart", prefix=["ip", "netns", "exec", boss])
    papers = authority(tmp_path / "farm", "runner", "scheduler", "worker")
    port = cart.scheduler(papers["scheduler"], host="0.0.0.0").rpartition(":")[2]
    address = f"tls://{us}:{port}"
    for name in ("two", "three"):
        prefix, _ = apart(wire, folder, tmp_path / "mnt" / name)
        machine = machines(name, prefix=prefix)
        if name == "three":
            [site] = (machine.folder / "venv" / "lib").glob("python*/site-packages")
            (site / "behind.pth").write_text(BEHIND)
            clock = [machine.python, "-c", "import time; print(time.time())"]
            told = float(subprocess.run(clock, capture_output=True, text=True, check=True).stdout)
            assert 29 < time.time() - told < 50
        machine.workers(address, papers["worker"])
    there(address, papers["runner"], 2)
    maps = [a for at in ("two", "three") for a in ("--map", f"{folder}={tmp_path / 'mnt' / at}")]

    def night(out: Path, said: Path, during: Callable[[], None]) -> str:
        """One night of the runner on `cart`; gives what it took, in words."""
        whole = (*command, "--out", out, "--scheduler", address, *maps, "--stalled-after", 0.5)
        wire.carried, before, begun = Carried(), wire.retransmitted(), time.monotonic()
        prefix = " ".join(cart.prefix)
        with said.open("w") as stdout, said.with_suffix(".errors").open("w") as stderr:
            words = [*cart.prefix, *CALL, *map(str, whole), *papers["runner"].dask]
            process = subprocess.Popen(words, stdout=stdout, stderr=stderr, env=dict(os.environ))
        try:
            wait(lambda: segments(said) >= 2, process, said)
            during()
            assert process.wait(timeout=500) == 0, (
                prefix + said.read_text() + said.with_suffix(".errors").read_text()
            )
        finally:
            process.kill()
        assert (delivered(out), digests(out)) == alone
        assert len(done(out)) == len(CLIPS) and set(done(out).values()) == {1}
        carried = wire.carried
        return (
            f"{out.name}: {time.monotonic() - begun:.0f} s, {carried.bytes / 1e6:.1f} MB in {carried.packets} packets, "
            f"{carried.lost} lost, {wire.retransmitted() - before} sent again by TCP, {segments(said)} segments told"
        )

    print(night(folder / "calm", tmp_path / "calm.jsonl", lambda: None))
    wire.loss, wire.delay = 0.01, 0.05
    print(night(folder / "lossy", tmp_path / "lossy.jsonl", lambda: None))
    print(night(folder / "pulled", tmp_path / "pulled.jsonl", lambda: wire.pulled.add(3)))
    told = [e["text"] for e in events(tmp_path / "pulled.jsonl") if e["event"] == "warning"]
    print(*told, sep="\n")
    before = {p: p.stat().st_mtime_ns for f in FOLDERS for p in (folder / "pulled" / f).iterdir()}
    wire.pulled.clear()  # whoever was cut off comes back, and changes nothing
    time.sleep(8)
    assert {p: p.stat().st_mtime_ns for f in FOLDERS for p in (folder / "pulled" / f).iterdir()} == before
    assert not (folder / "pulled" / ".work").exists()
