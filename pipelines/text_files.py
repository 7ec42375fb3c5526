"""Text files that people give, read with one limit: lists, grades, defaults, recipes and LUTs alike.

A file of any size costs at most `MAX_BYTES` of memory and is refused past it; a pipe or a device, which may have no end or never
begin, is refused. At an open desk it is
noted what was read, so that it can be kept; and what was kept is read in place of the first files, wherever those are.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from rushlight.pipelines.errors import InputError, OutsideError

__all__ = ["MAX_BYTES", "Desk", "desk", "is_kept", "noted", "read_bytes", "read_text"]

MAX_BYTES = 64_000_000  # a .cube of 129 points is 58 MB; a list of 100,000 clips is 30


class Kept(Protocol):
    """Something that stands in for a file."""

    def read_bytes(self) -> bytes: ...


@dataclass
class Desk:
    """Texts that were read, by absolute path or another name; and what stands in for what has such a name.

    At a `sealed` one nothing else is read: what asks for it was not written by the user.
    """

    kept: Mapping[str, Kept] = field(default_factory=dict)
    read: dict[str, bytes] = field(default_factory=dict)
    sealed: bool = False

    @contextmanager
    def unsealed(self, yes: bool = True) -> Iterator[None]:
        """Let files be read inside: the user named them."""
        before, self.sealed = self.sealed, self.sealed and not yes
        try:
            yield
        finally:
            self.sealed = before


_desk: ContextVar[Desk | None] = ContextVar("desk", default=None)


@contextmanager
def desk(kept: Mapping[str, Kept], *, sealed: bool = False) -> Iterator[Desk]:
    """A desk for all that is read inside."""
    found = Desk(kept=kept, sealed=sealed)
    token = _desk.set(found)
    try:
        yield found
    finally:
        _desk.reset(token)


def noted(name: str, read: Callable[[], bytes]) -> bytes:
    """Result of `read`, or what was kept under that name; noted if a desk is open. OutsideError at a sealed
    one for what was not kept."""
    here = _desk.get()
    if here is None:
        return read()
    if name not in here.kept and here.sealed:
        raise OutsideError("is not among what the output folder keeps of that request", file=name)
    data = here.kept[name].read_bytes() if name in here.kept else read()
    here.read[name] = data
    return data


def is_kept(name: str | Path) -> bool:
    """True if something is read from where it was kept, and need not be where it was."""
    here = _desk.get()
    key = str(name.absolute()) if isinstance(name, Path) else name
    return here is not None and key in here.kept


def _at_once(path: str, flags: int) -> int:
    """Open without waiting for the other end of a pipe."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def read_bytes(path: Path, error: type[InputError]) -> bytes:
    """The bytes of a file. `error` naming it where it cannot be read or is longer than MAX_BYTES."""

    def read() -> bytes:
        with open(path, "rb", opener=_at_once) as stream:
            kind = os.fstat(stream.fileno()).st_mode
            if not stat.S_ISREG(kind):
                raise ValueError("it is a pipe or a device; a file is needed")
            return stream.read(MAX_BYTES + 1)

    try:
        data = noted(str(path.absolute()), read)
    except OutsideError as fault:
        raise error(f"cannot be read: {fault.text}", file=str(path)) from None
    except (OSError, ValueError) as fault:
        text = (fault.strerror if isinstance(fault, OSError) else None) or str(fault)
        raise error(f"cannot be read: {text}", file=str(path)) from None
    if len(data) > MAX_BYTES:
        raise error(
            f"is longer than {MAX_BYTES // 1_000_000} MB, the most that is read of a text file",
            file=str(path),
        )
    return data


def read_text(path: Path, error: type[InputError], *, errors: str = "strict") -> str:
    """The text of a file: UTF-8, or UTF-16 by its byte order mark; the mark is taken off.

    `error` naming the file, and the line where there is one, for anything else (unless `errors` is "replace") and for a
    NUL byte.
    """
    data = read_bytes(path, error)
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig", errors)
    except UnicodeDecodeError as fault:
        raise error(
            f"is not {'UTF-16' if wide else 'UTF-8'} text (byte {fault.start})", file=str(path)
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise error("holds a NUL byte, so it is not a text file", file=str(path), line=line)
    return text
