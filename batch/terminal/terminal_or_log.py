"""A night's messages go to standard output and error; and once those are gone, to `log/run.txt` of its
folders.

A terminal is gone when it was closed or its connection was lost (SIGHUP), or when writing to it fails; a pipe, when who
read it has ended. None of it ends the night, and neither does a disk that is too full for the words.
"""

from __future__ import annotations

import errno
import os
import sys
import threading
import time
from collections import deque
from contextlib import suppress
from pathlib import Path
from typing import TextIO

from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.inside_folder import holding
from rushlight.pipelines.visible_text import visible

__all__ = ["FILE", "Deaf", "Words", "is_terminal", "let_go"]

FILE = Path("log", "run.txt")
BEFORE, OWED = 40, 2000  # lines that are repeated in the file, and kept until it can be written
FULL = (errno.ENOSPC, errno.EDQUOT)


class Words:
    """Lines on standard output and error, or in the file. For several threads."""

    def __init__(self) -> None:
        self.dead: set[str] = set()  # "stdout", "stderr"
        self._terminals = {name for name in ("stdout", "stderr") if is_terminal(getattr(sys, name))}
        self._lock = threading.RLock()
        self._said: deque[str] = deque(maxlen=BEFORE)
        self._noted: deque[str] = deque(maxlen=OWED)  # since the terminal went
        self._files: dict[Path, deque[str]] = {}  # what each has yet to get

    def to(self, folder: Path) -> None:
        """A folder of this night: its log has the words from now on, should the terminal go."""
        with self._lock:
            self._files.setdefault(folder, deque(self._noted, OWED))
            self._write()

    def put(self, text: str, *, error: bool = False) -> None:
        """Say a line. Never raises for where it goes."""
        name, text = "stderr" if error else "stdout", visible(text, lines=True)
        self._said.append(text)
        if name not in self.dead:
            try:
                print(text, file=getattr(sys, name), flush=True)
                return
            except OSError as fault:
                if fault.errno in FULL:  # a file that it was sent to; what is buffered is tried again
                    return
                self.lose(name)
                return  # the line is among those repeated
        self.note(text)

    def hung_up(self) -> None:
        """The terminal was closed, or its connection lost."""
        for name in sorted(self._terminals, reverse=True):
            self.lose(name)
        if not self._terminals and "stdout" not in self.dead:
            self.put("rushlight: the terminal was closed; the night goes on", error=True)

    def lose(self, name: str) -> None:
        """Standard output or error cannot be written to any more."""
        with self._lock:
            if name in self.dead:
                return
            first = not self.dead
            self.dead.add(name)
            _mute(getattr(sys, name))
            if first:
                before = list(self._said)
                self.note(
                    f"the terminal was closed or lost: process {os.getpid()} goes on, and what it would have said"
                    " there stands here" + ("; its last lines there:" if before else "")
                )
                for line in before:
                    self._add(f"    {line}")
                self._write()

    def note(self, text: str) -> None:
        """A line for the file alone."""
        text = visible(text, lines=True)
        with self._lock:
            self._add(f"{time.strftime('%Y-%m-%d %H:%M:%S')} {text}")
            self._write()

    def _add(self, line: str) -> None:
        for owed in (self._noted, *self._files.values()):
            owed.append(line)

    def _write(self) -> None:
        for folder, owed in self._files.items():
            if not owed:
                continue
            # No room: with the next line. Through a link nowhere.
            with (
                suppress(OSError, OutsideError),
                holding(folder, FILE.as_posix(), make=True) as (above, name),
            ):
                flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW
                with open(os.open(name, flags, 0o666, dir_fd=above), "wb", buffering=0) as stream:
                    stream.write(("\n".join(owed) + "\n").encode("utf-8", "replace"))
                owed.clear()


class Deaf:
    """A stream whose failures are told to `words` and to nobody else: for who draws on a terminal by himself."""

    def __init__(self, stream: TextIO, words: Words) -> None:
        self._stream, self._words = stream, words

    def __getattr__(self, name: str) -> object:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """Write, as far as that goes."""
        try:
            self._stream.write(text)
        except OSError:
            self._words.lose("stdout")
        return len(text)

    def flush(self) -> None:
        """Flush, as far as that goes."""
        try:
            self._stream.flush()
        except OSError:
            self._words.lose("stdout")


def is_terminal(stream: TextIO | None) -> bool:
    """True if a stream is a terminal that is there; a process may have been started without (None)."""
    return stream is not None and bool(stream.isatty())


def _mute(stream: TextIO) -> None:
    """Let what a stream still holds, and what is written to it from now on, go nowhere."""
    with suppress(OSError, ValueError):
        number = stream.fileno()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, number)
        os.close(nowhere)


def let_go() -> None:
    """Flush standard output and error at the end of the process; what cannot be written is dropped in silence."""
    for stream in filter(None, (sys.stdout, sys.stderr)):
        try:
            stream.flush()
        except (OSError, ValueError):
            _mute(stream)
            with suppress(OSError, ValueError):
                stream.flush()
