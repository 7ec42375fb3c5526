"""Running tasks somewhere: on Dask, a local cluster of spawned processes by default, or one that exists.

A task is a function named in text and JSON-able arguments; a result is a small value or an error. Retries are
the queue's, never Dask's; no more is in flight than there are slots. Dask is imported when a farm is opened.
"""

from __future__ import annotations

import importlib
import logging
import os
import queue
import signal
import traceback
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from rushlight.pipelines.errors import QueueError, RushlightError

__all__ = ["DaskFarm", "Farm", "LostWorker", "Result", "Task", "WorkerFault", "call"]


@dataclass(frozen=True, kw_only=True)
class Task:
    """A call to be made: `function` is `module:name`."""

    key: str
    function: str
    arguments: tuple[Any, ...]


@dataclass(frozen=True, kw_only=True)
class Result:
    """What became of a task: a value, or an error."""

    key: str
    value: Any = None
    error: BaseException | None = None


class LostWorker(RushlightError):
    """The process that ran a task died."""


class WorkerFault(RushlightError):
    """A fault of our own inside a worker: its words and where."""


class Farm(Protocol):
    """Where tasks run."""

    slots: int

    def submit(self, task: Task) -> None:
        """Start a task; the caller keeps no more than `slots` in flight."""

    def results(self, timeout: float) -> list[Result]:
        """What has ended since the last call, waiting up to `timeout` seconds for something to."""

    def close(self, *, now: bool = False) -> None:
        """End the farm; `now` without waiting for what runs."""


def call(function: str, arguments: tuple[Any, ...]) -> tuple[str, Any]:
    """Run a task in a worker: ("value", …) or ("error", an error that survives pickling)."""
    module, _, name = function.partition(":")
    try:
        return "value", getattr(importlib.import_module(module), name)(*arguments)
    except RushlightError as error:
        return "error", error
    except MemoryError as error:
        return "error", MemoryError(str(error))
    except Exception as error:
        where = "".join(traceback.format_exception(error)[-3:])
        return "error", WorkerFault(f"{type(error).__name__}: {error}\n{where}")


# One thread a library and worker: N workers use N cores.
ENVIRONMENT = {
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "NUMBA_NUM_THREADS": "1",
    "OPENIMAGEIO_THREADS": "1",
}


class DaskFarm:
    """Tasks on Dask. `workers` local processes, or the workers of the scheduler at `address`."""

    def __init__(
        self, *, workers: int = 1, address: str = "", scratch: Path | None = None, security: Any = None
    ) -> None:
        import dask
        import distributed

        self._done: queue.SimpleQueue[Result] = queue.SimpleQueue()
        self._futures: dict[str, Any] = {}
        self._cluster: Any = None
        settings: dict[str, Any] = {
            "distributed.scheduler.allowed-failures": 0,
            "distributed.scheduler.work-stealing": False,
            "distributed.scheduler.worker-ttl": "120s",
            "distributed.worker.memory.target": False,
            "distributed.worker.memory.spill": False,
            "distributed.worker.memory.pause": False,
            "distributed.worker.memory.terminate": 0.95,
            "distributed.worker.profile.enabled": False,  # it takes the interpreter a hundred times a second
            "distributed.worker.preload": ["rushlight.pipelines.render", "rushlight.batch.finish"],
            "distributed.worker.daemon": True,
            "distributed.worker.multiprocessing-method": "spawn",
            "distributed.comm.timeouts.connect": "30s",
            "logging.distributed": "critical",
        }
        dask.config.set(settings)
        for name in (
            "distributed",
            "distributed.nanny",
            "distributed.worker",
            "distributed.scheduler",
            "distributed.core",
        ):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        before = {name: os.environ.get(name) for name in ENVIRONMENT}
        os.environ.update(ENVIRONMENT)
        # Children inherit an ignored Ctrl-C: what it means is the runner's to say.
        interrupt = signal.signal(signal.SIGINT, signal.SIG_IGN) if _main_thread() else None
        try:
            if address:
                self._client = distributed.Client(
                    address, timeout=20, security=security, set_as_default=False
                )
                self.slots = sum(self._client.nthreads().values())
                if not self.slots:
                    raise QueueError(f"the scheduler at {address} has no workers")
                self._check_versions()
            else:
                self._cluster = distributed.LocalCluster(
                    n_workers=workers,
                    threads_per_worker=1,
                    processes=True,
                    host="127.0.0.1",
                    dashboard_address="127.0.0.1:0",  # None would mean port 8787 of every interface
                    worker_dashboard_address="127.0.0.1:0",
                    local_directory=str(scratch) if scratch else None,
                    silence_logs=logging.CRITICAL,
                )
                self._client = distributed.Client(self._cluster, set_as_default=False)
                self.slots = workers
        except OSError as error:
            raise QueueError(f"the farm does not answer: {error}") from None
        finally:
            if interrupt is not None:
                signal.signal(signal.SIGINT, interrupt)
            for name, value in before.items():
                if value is None:
                    os.environ.pop(name, None)
                else:
                    os.environ[name] = value

    def _check_versions(self) -> None:
        """QueueError naming the worker and both versions where a worker's packages are not these."""
        ours = versions()
        for worker, theirs in self._client.run(versions).items():
            wrong = {k: v for k, v in theirs.items() if ours.get(k) != v}
            if wrong:
                what = ", ".join(f"{k} {v} (here {ours.get(k)})" for k, v in wrong.items())
                raise QueueError(f"worker {worker} has other versions: {what}; install the same everywhere")

    def submit(self, task: Task) -> None:
        """Start a task."""
        future = self._client.submit(call, task.function, task.arguments, key=task.key, pure=False, retries=0)
        self._futures[task.key] = future
        future.add_done_callback(self._ended)

    def _ended(self, future: Any) -> None:
        key = future.key
        try:
            if future.status == "finished":
                kind, value = future.result()
                result = Result(key=key, value=value) if kind == "value" else Result(key=key, error=value)
            else:
                result = Result(key=key, error=LostWorker("the worker died while it ran this"))
        except BaseException as error:
            result = Result(key=key, error=LostWorker(f"the worker was lost: {error}"))
        self._done.put(result)

    def results(self, timeout: float) -> list[Result]:
        """What has ended."""
        found: list[Result] = []
        try:
            found.append(self._done.get(timeout=timeout))
            while True:
                found.append(self._done.get_nowait())
        except queue.Empty:
            pass
        for result in found:
            self._futures.pop(result.key, None)
        return found

    def processes(self) -> Mapping[str, int]:
        """Process numbers of the workers, by address."""
        return dict(self._client.run(os.getpid))

    def close(self, *, now: bool = False) -> None:
        """End the farm."""
        import contextlib

        with contextlib.suppress(Exception):
            self._client.close(timeout=1 if now else 10)
        if self._cluster is not None:
            with contextlib.suppress(Exception):
                self._cluster.close(timeout=1 if now else 10)


def versions() -> dict[str, str]:
    """Versions of what makes the pixels, on this machine."""
    from importlib.metadata import version

    return {
        name: version(name) for name in ("rushlight", "av", "OpenImageIO", "numpy", "numba", "colour-science")
    }


def _main_thread() -> bool:
    import threading

    return threading.current_thread() is threading.main_thread()
