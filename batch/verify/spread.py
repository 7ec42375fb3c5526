"""Clips measured by processes of this machine, one clip each at a time: who dies costs its own clip.

The processes are plain ones, which are told their clip through a pipe and send its verdicts back. Terminals' signals do
not reach them; they end with whoever started them, in the middle of a clip too. Each has one clip in hand, so memory
is bounded by their number.
"""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from multiprocessing.connection import Connection, Pipe, wait
from pathlib import Path

from rushlight.batch.error_log import unexpected
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.verdicts import CheckVerdict, ClipVerdicts

__all__ = ["not_measured", "spread"]

# One thread a library and process: N processes use N cores.
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OPENIMAGEIO_THREADS")


class _Worker:
    """A process and the pipe to it."""

    def __init__(self, folder: Path, hashes: bool, function: str) -> None:
        self.pipe, theirs = Pipe()
        call = f"from {__name__} import serve; serve({theirs.fileno()})"
        with theirs:
            self.process = subprocess.Popen(
                [sys.executable, "-P", "-c", call],  # not from the folder somebody works in
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                start_new_session=True,
                env={**os.environ, **dict.fromkeys(_THREADS, "1")},
            )
        self.clip = -1
        with suppress(OSError):
            self.pipe.send((sys.path, function, folder, hashes))

    def give(self, clip: int, record: DeliveredRecord) -> None:
        self.clip = clip
        with suppress(OSError):  # it has died: its pipe tells so when it is waited for
            self.pipe.send(record)

    def end(self) -> int:
        """Exit status, once it has gone; below 0 the signal that ended it."""
        self.pipe.close()
        with suppress(subprocess.TimeoutExpired):
            return self.process.wait(2)
        self.process.kill()
        return self.process.wait()

    def kill(self) -> None:
        self.process.kill()
        self.pipe.close()
        self.process.wait()


def spread(
    folder: Path,
    records: Sequence[DeliveredRecord],
    *,
    hashes: bool,
    workers: int,
    on_clip: Callable[[str], None],
    function: str,
) -> list[ClipVerdicts]:
    """Verdicts on these clips, in their order, by so many processes. A clip whose process dies fails for that.

    `function`, as module:name, measures one: it takes the folder, the record and `hashes`.
    """
    found: dict[int, ClipVerdicts] = {}
    waiting = iter(enumerate(records))
    busy: dict[Connection, _Worker] = {}

    def next_clip(worker: _Worker | None) -> None:
        number, record = next(waiting, (-1, None))
        if record is None:
            if worker is not None:
                worker.end()
            return
        on_clip(record.clip)
        worker = worker or _Worker(folder, hashes, function)
        busy[worker.pipe] = worker
        worker.give(number, record)

    try:
        for _ in range(min(workers, len(records))):
            next_clip(None)
        while busy:
            ready = wait(list(busy))
            for worker in [worker for pipe, worker in busy.items() if pipe in ready]:
                del busy[worker.pipe]
                try:
                    found[worker.clip] = worker.pipe.recv()
                except (EOFError, OSError):
                    found[worker.clip] = _lost(records[worker.clip], worker.end())
                    next_clip(None)
                else:
                    next_clip(worker)
    finally:
        for worker in busy.values():
            worker.kill()
    return [found[number] for number in range(len(records))]


def _lost(record: DeliveredRecord, status: int) -> ClipVerdicts:
    why = f"exit status {status}"
    if status < 0:
        with suppress(ValueError):
            why = f"signal {-status}, {signal.Signals(-status).name}"
    text = f"could not be measured: the process that measured it died ({why}). Its files may be damaged, or memory was short"
    return not_measured(record, text)


def not_measured(record: DeliveredRecord, text: str) -> ClipVerdicts:
    """Verdicts on a clip that fails for that it could not be measured."""
    return ClipVerdicts(
        clip=record.clip,
        job=record.job,
        made=record.finished,
        decision="none" if record.look.grade is None else "supplied",
        verdict="fail",
        checks={"frames": CheckVerdict(verdict="fail", text=text)},
        files={},
    )


def serve(descriptor: int) -> None:
    """In a process of its own: measure what comes through the pipe, until it is closed."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    pipe, given = Connection(descriptor), queue.SimpleQueue[DeliveredRecord]()
    sys.path[:], function, folder, hashes = pipe.recv()

    def hear() -> None:
        with suppress(EOFError, OSError):
            while True:
                given.put(pipe.recv())
        os._exit(0)  # who wanted it is gone, or wants no more: in the middle of a clip too

    threading.Thread(target=hear, daemon=True).start()
    from importlib import import_module

    module, _, name = function.partition(":")
    measure = getattr(import_module(module), name)
    while True:
        record = given.get()
        try:
            verdicts = measure(folder, record, hashes=hashes)
        except Exception as error:
            verdicts = not_measured(record, unexpected(folder, f"measuring {record.clip}", error))
        with suppress(OSError):
            pipe.send(verdicts)
