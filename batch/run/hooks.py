"""Commands of the user's that are run when the night is over or pauses, with a summary as JSON on standard input.

A command is run without a shell, with a time limit, in a process group of its own. Whatever it does, the night's
result and exit code are as they would be without it.
"""

from __future__ import annotations

import os
import platform
import shlex
import shutil
import signal
import subprocess
import tempfile
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import IO, TYPE_CHECKING

from rushlight.batch.farm.child_processes import environment_of_others
from rushlight.batch.interrupts import obeyed
from rushlight.batch.records.summary import SUMMARY, Status, Summary
from rushlight.pipelines.errors import InputError, OptionError, QueueError
from rushlight.pipelines.visible_text import json_text

if TYPE_CHECKING:
    from rushlight.batch.run.event_stream import EventStream
    from rushlight.batch.run.events import Event

__all__ = ["SECONDS", "Hooks", "parse_hooks", "ringing", "run_hook"]

SECONDS = 60.0
_STATUS: Mapping[int, Status] = {0: "done", 1: "partly", 2: "refused", 3: "stopped"}


@dataclass(frozen=True, kw_only=True)
class Hooks:
    """Commands as lists of words; an empty one is not run."""

    finish: tuple[str, ...] = ()  # at the end, however it ended
    failure: tuple[str, ...] = ()  # ahead of that, where not everything was delivered; and at a first pause
    late: tuple[str, ...] = ()  # once, when by the measured speed not all will be ready in time


def parse_hooks(finish: str | None, failure: str | None, late: str | None = None) -> Hooks:
    """The commands in words, quoted as for a POSIX shell. OptionError for one that has none or an open quote, or that
    cannot be started."""
    return Hooks(
        finish=_words("--on-finish", finish),
        failure=_words("--on-failure", failure),
        late=_words("--on-late", late),
    )


def _words(option: str, text: str | None) -> tuple[str, ...]:
    if text is None:
        return ()
    try:
        words = tuple(shlex.split(text))
    except ValueError as error:
        raise OptionError(f"{text!r} is no command ({error}); {option} takes words as a shell does") from None
    if not words or not words[0] or "\0" in text:
        raise OptionError(f"{text!r} is no command; {option} takes a program and its arguments")
    if why := _unfit(words[0]):  # said now, while somebody is there to mend it
        raise OptionError(
            f"{option}: {why}; its words are run without a shell: sh -c '...' for what needs one, or a full path"
        )
    return words


def _unfit(program: str) -> str:
    """Why a program cannot be started; empty where it can, as far as can be told without starting it."""
    place = shutil.which(program)
    if place is None:
        return f"no program {program!r} is found"
    try:
        with open(place, "rb") as stream:
            head = stream.read(256)
    except OSError:
        return ""  # it may be run and not read
    if head.startswith(b"#!"):
        reader = head[2:].split(b"\n")[0].split()[:1]
        return "" if reader and shutil.which(reader[0]) else f"{place!r} names no program in its first line"
    if head and b"\0" not in head:
        return f"{place!r} is a text file without #! in its first line, so it cannot be started"
    return ""


def ringing(hooks: Hooks, events: EventStream, night: Callable[[], int]) -> int:
    """Run the night, then the commands, also where it ends by an error. Gives the night's exit code.

    The summary has `status` ("done", "partly": some clips were not delivered, "refused", "stopped" with work
    left, "broken off" by an error), what was told last, `error`, `host` and `time`. When the night first
    pauses for want of a disk, the command for failures is run beside it, with the status "paused"; when by its measured
    speed it will first be late, the command for that, with "late" and the forecast.
    """
    events.ended, events.refusal = None, ""
    events.watch = _Rings(hooks, events)
    try:
        code = night()
    except BaseException as error:
        _ring(hooks, events, _status_of(error), str(error) or type(error).__name__)
        raise
    _ring(hooks, events, _STATUS.get(code, "broken off"), "")
    return code


def _status_of(error: BaseException) -> Status:
    if isinstance(error, InputError | QueueError):
        return "refused"
    return "stopped" if isinstance(error, KeyboardInterrupt) else "broken off"


class _Rings:
    """Rings at the first pause only, since a disk at the brink may pause a hundred times a night, and once for late."""

    def __init__(self, hooks: Hooks, events: EventStream) -> None:
        self.hooks, self.events = hooks, events
        self.rung: set[str] = set()

    def __call__(self, event: Event) -> None:
        if event.what in self.rung:
            return
        if event.what == "paused":
            option, words, summary = "--on-failure", self.hooks.failure, _summary("paused", event.text)
        elif event.what == "late" and event.forecast and event.forecast.measured:
            told = event.forecast.document() | {"measured": True}
            option, words, summary = "--on-late", self.hooks.late, _summary("late", event.text, told)
        else:
            return  # the plan's guess alone wakes nobody
        self.rung.add(event.what)
        threading.Thread(target=self.ring, args=(option, words, summary.plain()), daemon=True).start()

    def ring(self, option: str, words: tuple[str, ...], summary: Mapping[str, object]) -> None:
        _say(self.events, option, run_hook(words, summary))


def _summary(status: Status, error: str, more: Mapping[str, object] | None = None) -> Summary:
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    head = {"schema": SUMMARY, "status": status, "error": error, "host": platform.node(), "time": now}
    return Summary.read({**head, **(more or {})})


def _ring(hooks: Hooks, events: EventStream, status: Status, error: str) -> None:
    ended = events.ended.plain() if events.ended else None
    summary = _summary(status, events.refusal or error, ended).plain()
    if status != "done":
        _say(events, "--on-failure", run_hook(hooks.failure, summary))
    _say(events, "--on-finish", run_hook(hooks.finish, summary))


def _say(events: EventStream, option: str, fault: str) -> None:
    if fault:
        events.problem(f"{option}: {fault}; what was delivered is not touched by it")


def run_hook(words: tuple[str, ...], summary: Mapping[str, object], *, seconds: float = SECONDS) -> str:
    """Run one command with the summary on its standard input. Gives its fault in words, empty where there is none.

    What it prints is kept from our own output, and its last line is told with a fault. After `seconds` it and all
    that it started is killed. Files rather than pipes: a command that reads nothing, or leaves a child behind that
    holds its output open, is not waited for.
    """
    try:
        return _run(words, summary, seconds) if words else ""
    except (OSError, ValueError) as error:  # no such program, may not be run, no room for the summary
        return f"{words[0]!r} cannot be run: {getattr(error, 'strerror', None) or error}"


def _run(words: tuple[str, ...], summary: Mapping[str, object], seconds: float) -> str:
    with tempfile.TemporaryFile() as given, tempfile.TemporaryFile() as said:
        given.write(json_text(summary, indent=2).encode() + b"\n")
        given.seek(0)
        process = subprocess.Popen(
            words,
            stdin=given,
            stdout=said,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            env=environment_of_others(),
        )
        try:
            with obeyed():
                code = process.wait(seconds)
        except subprocess.TimeoutExpired:
            _kill(process)
            return f"{words[0]!r} was still running after {seconds:g} s, and was killed"
        except KeyboardInterrupt:
            _kill(process)
            return f"{words[0]!r} was stopped by a signal"
        return _fault(words[0], code, _last_line(said)) if code else ""


def _kill(process: subprocess.Popen[bytes]) -> None:
    try:
        os.killpg(process.pid, signal.SIGKILL)
    except ProcessLookupError:
        pass
    process.wait()


def _fault(name: str, code: int, last: str) -> str:
    how = f"ended with code {code}" if code > 0 else f"was ended by signal {-code}"
    return f"{name!r} {how}" + (f", saying {last!r}" if last else "")


def _last_line(said: IO[bytes]) -> str:
    """The last line with something in it, of the last 4 kB."""
    size = said.seek(0, os.SEEK_END)
    said.seek(max(0, size - 4096))
    lines = said.read().decode("utf-8", "replace").split("\n")
    return next((line.strip()[-200:] for line in reversed(lines) if line.strip()), "")
