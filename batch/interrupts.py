"""Signals: Ctrl-C (SIGINT) and SIGTERM ask to stop; SIGHUP says that the terminal is gone, and ends no night.

The first that asks is obeyed where it comes, as `Stopped`, unless somebody minds a `Stop`: then that is set, and what is
in hand has a moment to end. A second one ends the process where it is, as a kill would, which loses nothing: files are
whole before they have their names, and the queue is on the disk. Worker processes hear none of the three: terminals
and service managers send them to every process, and what they mean is the runner's to say.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from types import FrameType
from typing import TypeVar

from rushlight.batch.exit_codes import STOPPED
from rushlight.pipelines.heartbeat import at_each_beat

__all__ = [
    "GRACE",
    "Stop",
    "Stopped",
    "beside",
    "cancellable",
    "deaf",
    "heard",
    "listening",
    "minded",
    "obeyed",
    "on_hangup",
]

GRACE = 8.0  # seconds that what is in hand has to end once a signal asked to stop
T = TypeVar("T")


@dataclass
class Stop:
    """Asked to stop: 1 finish what is in hand, 2 now. `until` is a moment (time.time) after which nothing starts."""

    level: int = 0
    until: float | None = None
    since: float | None = None  # when a signal asked, as time.monotonic

    def ask(self) -> None:
        """A signal asks to stop."""
        self.level += 1
        if self.since is None:
            self.since = time.monotonic()

    @property
    def asked(self) -> bool:
        return self.level > 0 or (self.until is not None and time.time() >= self.until)

    @property
    def due(self) -> bool:
        """True once work in hand is to be dropped."""
        return self.level > 1 or (self.since is not None and time.monotonic() - self.since > GRACE)


class Stopped(KeyboardInterrupt):
    """A signal asked to stop where nothing was in hand."""


@dataclass
class _Ears:
    """Signals heard so far, and who minds them."""

    heard: int = 0
    hung_up: bool = False
    minding: list[Stop] = field(default_factory=list)
    obeyed: int = 0  # how many want to be interrupted, however often it was heard
    hangup: list[Callable[[], object]] = field(default_factory=list)

    def asked(self, number: int, frame: FrameType | None) -> None:
        self.heard += 1
        if self.obeyed:
            raise Stopped
        if self.heard > 1:
            self.leave()
        if not self.minding:
            raise Stopped
        for stop in self.minding:
            stop.ask()

    def leave(self) -> None:
        """End the process where it is; its workers end with it."""
        with suppress(OSError):  # not by `print`: this may be in the middle of one
            if os.isatty(1):
                os.write(1, b"\x1b[?25h\n")  # the cursor, which a bar hides
            os.write(2, b"rushlight: stopped at once; the same command goes on from here\n")
        os._exit(STOPPED)

    def gone(self, number: int, frame: FrameType | None) -> None:
        self.hung_up = True
        for call in self.hangup:  # not here: it may be in the middle of a line
            threading.Thread(target=call, daemon=True, name="hangup").start()


_ears = _Ears()


@contextmanager
def listening(*, night: bool = False) -> Iterator[None]:
    """Hear signals in here. A `night` goes on where the terminal goes; another command stops. What was ignored when the
    process began (`nohup`) stays so. Without effect but in the main thread."""
    global _ears
    before, _ears = _ears, _Ears()
    ears = _ears
    wanted = {
        signal.SIGINT: ears.asked,
        signal.SIGTERM: ears.asked,
        signal.SIGHUP: ears.gone if night else ears.asked,
    }
    old = {}
    try:
        if threading.current_thread() is threading.main_thread():
            for number, handler in wanted.items():
                if signal.getsignal(number) != signal.SIG_IGN:
                    old[number] = signal.signal(number, handler)
        yield
    finally:
        for number, was in old.items():
            signal.signal(number, was)
        _ears = before


def heard() -> bool:
    """True if a signal has asked to stop."""
    return _ears.heard > 0


@contextmanager
def minded(stop: Stop) -> Iterator[None]:
    """The caller looks at `stop` by himself: a first signal sets it and interrupts nothing in here."""
    _ears.minding.append(stop)
    if _ears.heard and not stop.level:  # in a place where nothing can be raised, such as a destructor
        stop.ask()
    try:
        yield
    finally:
        _ears.minding.remove(stop)


@contextmanager
def obeyed() -> Iterator[None]:
    """In here every signal is `Stopped`, also a second one, and where a `Stop` is minded: nothing is in hand."""
    _ears.obeyed += 1
    try:
        yield
    finally:
        _ears.obeyed -= 1


@contextmanager
def cancellable(stop: Stop) -> Iterator[None]:
    """Reading and planning, with nothing in hand: a stop that another thread asks for is `Stopped` in here at the next
    beat (heartbeat.py), as a signal is anywhere."""

    def look() -> None:
        if stop.level:
            raise Stopped

    with at_each_beat(look):
        look()
        yield


def on_hangup(call: Callable[[], object]) -> None:
    """Have this called, on a thread of its own, when the terminal goes; at once where it has gone."""
    _ears.hangup.append(call)
    if _ears.hung_up:
        call()


@contextmanager
def beside(name: str) -> Iterator[ThreadPoolExecutor]:
    """A thread for work beside this one's, which is waited for at the end unless it was stopped."""
    pool = ThreadPoolExecutor(1, name)
    try:
        yield pool
    except Stopped:
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    finally:
        pool.shutdown(wait=not heard())


def _start_tracker() -> None:
    """Start the process that removes named semaphores once this one is gone. After a stop it finds the workers' and would warn of
    them at the terminal, though it does remove them."""
    from multiprocessing.resource_tracker import ensure_running

    quiet = "ignore:resource_tracker"  # it takes this process's -W options, and it alone keeps this one
    sys.warnoptions.append(quiet)
    try:
        ensure_running()
    finally:
        sys.warnoptions.remove(quiet)


def deaf(call: Callable[[], T], undo: Callable[[T], object]) -> T:
    """Result of `call`, made with signals blocked. No process or thread that it starts, nor any that those
    start later, hears these signals, since each has the signal mask of who started it. Where the wait for it
    is interrupted, `undo` gets what it gives."""
    _start_tracker()  # started in there, it would unblock them for the workers

    def block() -> None:
        signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT, signal.SIGTERM, signal.SIGHUP))

    lock, made, left = threading.Lock(), list[T](), threading.Event()

    def making() -> T:
        found = call()
        with lock:
            made.append(found)
        if left.is_set():
            put_away()
        return found

    def put_away() -> None:
        with lock, suppress(Exception):
            while made:
                undo(made.pop())

    pool = ThreadPoolExecutor(1, "start", initializer=block)
    try:
        return pool.submit(making).result()
    except KeyboardInterrupt:
        left.set()
        put_away()
        raise
    finally:
        pool.shutdown(wait=False)
