"""A connection to Dask: a cluster of processes on this machine, or a scheduler that exists. No stranger gets in.

What may send a task may run any code as its user. So the processes on this machine speak TLS as well, with a certificate
of their one run, since whoever is logged in can reach the loopback; and their HTTP servers are stopped.
"""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import warnings
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.farm.child_processes import (
    ENVIRONMENT,
    NO_PAGES,
    for_children,
    forking,
    name_modules,
    without_main,
)
from rushlight.batch.interrupts import deaf
from rushlight.pipelines.errors import QueueError, from_os

if TYPE_CHECKING:
    from distributed import Client, LocalCluster
    from distributed.security import Security

__all__ = ["STRANGERS", "connected", "ended", "is_up", "safe", "started"]

STRANGERS = "is open to strangers: a farm on several machines needs TLS (tls://…), on one 127.0.0.1"
METHOD = "distributed.worker.multiprocessing-method"
SETTINGS: Mapping[str, object] = {
    "distributed.scheduler.allowed-failures": 0,
    "distributed.scheduler.work-stealing": False,
    "distributed.scheduler.worker-ttl": None,  # who hangs is told by what he gets done, below
    "distributed.worker.memory.target": False,
    "distributed.worker.memory.spill": False,
    "distributed.worker.memory.pause": False,
    "distributed.worker.memory.terminate": 0.95,
    "distributed.worker.profile.enabled": False,  # it takes the interpreter a hundred times a second
    # Each process would look at its own loop fifty times a second, at the machine twice, and at what its workers hold ten times:
    # 55 ms of processor a second of two workers, a twentieth of what they do.
    "distributed.admin.tick.interval": "1s",
    "distributed.admin.tick.cycle": "10s",
    "distributed.admin.system-monitor.interval": "10s",
    "distributed.worker.memory.monitor-interval": "500ms",
    "distributed.worker.preload": [NO_PAGES],
    "distributed.deploy.lost-worker-timeout": "1 day",  # a worker that died is not given up while it starts again
    "distributed.worker.daemon": True,
    "distributed.nanny.pre-spawn-environ": ENVIRONMENT,  # also of workers that start later, or again
    "distributed.scheduler.http.routes": [],  # not even until nopages is loaded
    "distributed.worker.http.routes": [],
    "distributed.scheduler.preload": [NO_PAGES],
    "distributed.comm.timeouts.connect": "30s",
    "logging.distributed": "critical",
}

STARTS = 3


def _quiet() -> None:
    import dask

    dask.config.set(SETTINGS)
    for name in ("", ".nanny", ".worker", ".scheduler", ".core", ".client"):
        logging.getLogger(f"distributed{name}").setLevel(logging.CRITICAL)


def started(workers: int, scratch: Path, *, ahead: Sequence[str] = ()) -> tuple[LocalCluster, Client]:
    """A cluster of so many processes, which listens on the loopback alone, and its client. QueueError where its
    workers die while they start, three times over. `scratch` is a private folder that lasts as long;
    `ahead` are modules that workers load as they start."""
    import dask
    import distributed

    _quiet()
    preload = [NO_PAGES, *ahead]
    dask.config.set({"temporary-directory": str(scratch), "distributed.worker.preload": preload})
    dask.config.set({METHOD: "forkserver" if forking() else "spawn"})
    distributed.utils.get_mp_context()
    name_modules()
    security = _certified(scratch)
    for turn in range(STARTS):
        try:
            with for_children(), without_main():
                start = partial(
                    distributed.LocalCluster,
                    n_workers=workers,
                    threads_per_worker=1,
                    processes=True,
                    host="127.0.0.1",
                    security=security,
                    dashboard_address="127.0.0.1:0",  # None would mean port 8787 of every interface
                    scheduler_kwargs={"dashboard": False},
                    local_directory=str(scratch),
                    silence_logs=logging.CRITICAL,
                )
                cluster = deaf(start, lambda late: late.close(timeout=1))
        except RuntimeError as error:  # a worker was killed while it started; Dask has closed the others
            if turn == STARTS - 1:
                raise QueueError(f"workers do not start on this machine: {error}") from None
        else:
            break
    return cluster, distributed.Client(cluster, set_as_default=False)


def is_up(cluster: LocalCluster | None, address: str) -> bool:
    """True if a worker is known to be up by its minder here, who starts none again that dies before; without a cluster of this
    machine it is."""
    if cluster is None:
        return True
    minders = list(cluster.workers.values())
    return any(
        m.worker_address == address and m.process and m.process.status.name == "running" for m in minders
    )


def ended(cluster: LocalCluster | None, client: Client, *, timeout: float, idle: bool) -> None:
    """End a farm. Workers of this machine that are `idle` are killed: asked to close, each takes itself apart first, for a
    second or two at the end of every run."""

    async def end() -> None:
        assert cluster is not None
        for minder in list(cluster.workers.values()):
            if minder.status.name == "running" and minder.pid:
                minder.close_gracefully(reason="nothing is left to do")  # it starts none again
                with contextlib.suppress(OSError):
                    os.kill(minder.pid, signal.SIGKILL)

    if cluster is not None and idle:
        with contextlib.suppress(Exception):
            cluster.sync(end)
    with contextlib.suppress(Exception):
        client.close(timeout=timeout)
    if cluster is not None:
        with contextlib.suppress(Exception):
            cluster.close(timeout=timeout)


def _certified(scratch: Path) -> Security:
    """Dask's settings for TLS with a key and certificate made for this run, which lie in `scratch` (mode 0600)."""
    from distributed.security import Security

    made = Security.temporary()
    place = scratch / "run.pem"
    try:
        with open(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(made.tls_client_key + made.tls_client_cert)
    except OSError as error:
        raise from_os(error, place) from None
    roles = ("ca_file", "client_cert", "scheduler_cert", "worker_cert")
    keys = ("client_key", "scheduler_key", "worker_key")  # stated, lest Dask's own settings name one
    files = dict.fromkeys((f"tls_{name}" for name in (*roles, *keys)), str(place))
    return Security(require_encryption=True, **files)


def connected(address: str, security: Security | None) -> Client:
    """The client of a scheduler that exists. QueueError where it does not answer, or where strangers may join it."""
    import distributed

    _quiet()
    if not safe(address):
        raise QueueError(f"the scheduler at {address} {STRANGERS}")
    try:
        with (
            warnings.catch_warnings()
        ):  # of other versions: each worker is asked, and told apart, by the farm
            warnings.simplefilter("ignore")
            client = distributed.Client(address, timeout=20, security=security, set_as_default=False)
        place = client.scheduler_info()["address"]
    except (OSError, ValueError, TypeError, RuntimeError) as error:
        raise QueueError(f"the farm at {address} does not answer: {error}") from None
    if not safe(place):
        client.close()
        raise QueueError(f"the scheduler at {address} listens at {place}: it {STRANGERS}")
    return client


def safe(address: str) -> bool:
    """True if nobody without the farm's certificate gets there: by TLS, or on this machine alone."""
    host = address.rpartition("://")[2].rpartition(":")[0]
    return address.startswith("tls://") or host.startswith("127.") or host in ("localhost", "[::1]")
