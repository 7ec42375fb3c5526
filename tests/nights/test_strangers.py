"""Another user of the machine: while a night runs, nothing that listens lets him in or tells him anything."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest

from command import started
from machines import authority, there

# Asks every port, in every way that Dask's own client, a browser or a bare socket can; prints what was answered.
CLIENT = r"""
import asyncio, json, os, socket, ssl, sys, urllib.error, urllib.request
from concurrent.futures import ThreadPoolExecutor
from distributed.comm import connect
from distributed.security import Security

ports, pem = json.loads(sys.argv[1]), sys.argv[2]
PATHS = ["/", "/status", "/json/identity.json", "/json/counts.json", "/info/main/workers.html", "/info/logs.html",
    "/metrics", "/health", "/sitemap.json", "/statics/css/base.css", "/individual-plots.json", "/proxy/1/127.0.0.1/"]
bare = ssl.create_default_context()
bare.check_hostname, bare.verify_mode = False, ssl.CERT_NONE
opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), urllib.request.HTTPSHandler(context=bare))

async def identity(address, security):
    comm = await connect(address, timeout=4, **security.get_connection_args("client"))
    await comm.write({"op": "identity", "reply": True})
    return (await comm.read())["type"]

async def asked(address, security):
    try:
        return await asyncio.wait_for(identity(address, security), 8)
    except Exception:
        return ""

def pages(scheme, port):
    found = []
    for path in PATHS:
        try:
            with opener.open(f"{scheme}://127.0.0.1:{port}{path}", timeout=3) as answer:
                found.append([path, answer.status, answer.read(2000).decode("latin-1")])
        except urllib.error.HTTPError as error:
            found.append([path, error.code, error.read(2000).decode("latin-1")])
        except Exception:
            break  # it does not speak that way
    return found

def first_bytes(port):
    try:
        with socket.create_connection(("127.0.0.1", port), 4) as plain, bare.wrap_socket(plain) as wrapped:
            wrapped.settimeout(2)
            return wrapped.recv(100).hex()
    except OSError:
        return ""

async def main():
    if pem:
        named = {f"tls_{n}": pem for n in ("ca_file", "client_cert")}
        ways = [("tls", Security(require_encryption=True, **named))]
    else:
        ways = [("tls", Security.temporary()), ("tcp", Security()), ("ws", Security())]
    calls = [asked(f"{scheme}://127.0.0.1:{port}", security) for port in ports for scheme, security in ways]
    found = {"types": sorted(filter(None, await asyncio.gather(*calls)))}
    if not pem:
        with ThreadPoolExecutor(32) as pool:
            found["http"] = sum(pool.map(pages, ["http"] * len(ports), ports), [])
            found["https"] = sum(pool.map(pages, ["https"] * len(ports), ports), [])
            found["bytes"] = list(pool.map(first_bytes, ports))
    print(json.dumps(found), flush=True)
    os._exit(0)  # whatever still waits for an answer

asyncio.run(main())
"""
NOBODY = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, list[int]]]:
    """A night that waits for lists, with two workers: its state folder and the ports that its processes listen on."""
    folder = tmp_path_factory.mktemp("night")
    env = {**os.environ, "XDG_STATE_HOME": str(folder)}
    with (folder / "said").open("w") as said:
        run = started("queue", "run", "--stay", "--workers", 2, env=env, stdout=said, stderr=said)
    try:
        deadline = time.monotonic() + 120
        while "2 workers" not in (folder / "said").read_text():
            assert time.monotonic() < deadline and run.poll() is None, (folder / "said").read_text()
            time.sleep(0.2)
        yield folder / "rushlight", _ports(run.pid)
    finally:
        run.send_signal(signal.SIGTERM)
        try:
            run.wait(30)
        finally:
            run.kill()


def _ports(process: int) -> list[int]:
    people = [psutil.Process(process), *psutil.Process(process).children(recursive=True)]
    listening = [c for p in people for c in p.net_connections("inet") if c.status == psutil.CONN_LISTEN]
    assert {c.laddr.ip for c in listening} == {"127.0.0.1"}
    return sorted(c.laddr.port for c in listening)


def ask(ports: list[int], *, who: list[str], pem: str = "") -> dict[str, Any]:
    call = [*who, sys.executable, "-W", "ignore", "-c", CLIENT, json.dumps(ports), pem]
    env = {"PATH": os.environ["PATH"], "HOME": "/tmp"}
    run = subprocess.run(call, capture_output=True, text=True, env=env, cwd="/", timeout=200)
    assert run.returncode == 0, run.stderr
    return dict(json.loads(run.stdout))


def test_another_user_is_refused_by_all_that_listens(night: tuple[Path, list[int]]) -> None:
    if os.geteuid() or not shutil.which("setpriv"):
        pytest.skip("only root can become another user here, by util-linux's setpriv")
    if subprocess.run([*NOBODY, sys.executable, "-c", "import distributed"], cwd="/").returncode:
        pytest.skip("the environment of these tests cannot be read by another user")
    _, ports = night
    found = ask(ports, who=NOBODY)
    assert found["types"] == [] and not any(found["bytes"])
    assert found["http"] == [] and found["https"] == []


def test_who_has_the_key_is_let_in_and_nobody_else_can_read_it(night: tuple[Path, list[int]]) -> None:
    """The same client as above, so that its being refused means something."""
    state, ports = night
    scratch = state / "scratch"
    (pem,) = scratch.rglob("*.pem")
    assert ask(ports, who=[], pem=str(pem))["types"] == ["Nanny", "Nanny", "Scheduler", "Worker", "Worker"]
    assert pem.stat().st_mode & 0o777 == 0o600
    assert [p.stat().st_mode & 0o777 for p in (scratch, *scratch.iterdir())] == [0o700, 0o700]
    key = pem.read_text().splitlines()[1]
    for file in scratch.rglob("*"):
        assert file == pem or not file.is_file() or key not in file.read_text(errors="replace")


def test_a_farm_started_as_the_handbook_says_answers_no_browser(machines: Any, tmp_path: Path) -> None:
    """The scheduler and a worker by the options that the docs give."""
    handbook = (Path(__file__).resolve().parents[2] / "docs" / "a-farm-of-three-machines.md").read_text()
    (options,) = re.findall(r'    A="(.*)--tls-ca-file farm.pem"', handbook)
    papers = authority(tmp_path / "ca", "cart")["cart"]
    cart = machines("cart", DASK_TEMPORARY_DIRECTORY=str(tmp_path / "cache"))
    place = tmp_path / "scheduler.json"
    call = [cart.python, "-m", "dask", "scheduler", *options.split(), *papers.dask]
    cart.start(*call, "--protocol", "tls", "--host", "127.0.0.1", "--port", 0, "--scheduler-file", place)
    deadline = time.monotonic() + 90
    while not (place.exists() and place.read_text().endswith("}")):
        assert time.monotonic() < deadline, cart.said()
        time.sleep(0.1)
    address = json.loads(place.read_text())["address"]
    call = [cart.python, "-m", "dask", "worker", *options.split(), address, *papers.dask]
    cart.start(*call, "--nworkers", 1, "--nthreads", 1, "--host", "127.0.0.1")
    there(address, papers, 1)
    ports = [port for process in cart.started for port in _ports(process.pid)]
    assert len(ports) == 3  # scheduler, nanny and worker; of an HTTP server none
    found = ask(ports, who=[])
    assert found == {"types": [], "http": [], "https": [], "bytes": [""] * 3}
    assert (tmp_path / "cache" / "dask-scratch-space").is_dir()
