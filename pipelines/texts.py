"""Text files that people give, read with one limit: lists, grades, defaults, recipes and LUTs alike.

A file of any size, a pipe or a device costs at most `MAX_BYTES` of memory and is refused past it.
"""

from __future__ import annotations

from pathlib import Path

from rushlight.pipelines.errors import InputError

__all__ = ["MAX_BYTES", "read_bytes", "read_text"]

MAX_BYTES = 64_000_000  # a .cube of 129 points is 58 MB; a list of 100,000 clips is 30


def read_bytes(path: Path, error: type[InputError]) -> bytes:
    """The bytes of a file. `error` naming it where it cannot be read or is longer than MAX_BYTES."""
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as fault:
        text = (fault.strerror if isinstance(fault, OSError) else None) or str(fault)
        raise error(f"cannot be read: {text}", file=str(path)) from None
    if len(data) > MAX_BYTES:
        raise error(f"is longer than {MAX_BYTES // 1_000_000} MB, which is no text of ours", file=str(path))
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
        raise error("holds a NUL byte: this is no text", file=str(path), line=line)
    return text
