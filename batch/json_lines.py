"""JSON lines that we wrote, read again after whatever became of them: what is whole, and what is wrong with the rest.

Pure: bytes in, values out. A line is judged alone, so that one that is torn, changed or of another hand costs what it
says and nothing else.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TypeVar

from pydantic_core import from_json

from rushlight.pipelines.errors import OptionError

__all__ = ["Refused", "parse_lines", "plain_json"]

MAX_LINE = 64_000_000  # bytes; the record of a clip of an hour has some 10 MB
_NAMES = re.compile(rb'"(job|clip)"\s*:\s*"((?:[^"\\]|\\.)*)"')
_HUGE = re.compile(rb"[eE]\+?\d{3,}\s*[\],}]")  # a number past all floats
_NAMED_WITHIN = 4096  # bytes from a line's beginning in which it names its job and clip

Read = TypeVar("Read")


@dataclass(frozen=True, kw_only=True)
class Refused:
    """A line that is left out: what it is about, as far as it says so, and why, with file and line."""

    error: OptionError
    clip: str = ""
    job: str = ""
    mild: bool = False  # the last line, torn: so a machine that stopped while it wrote leaves it

    @property
    def name(self) -> str:
        """The clip, else the line, for people."""
        return self.clip or f"line {self.error.line}"


def plain_json(data: bytes) -> object:
    """The value of a JSON document. ValueError in words where it is none, nests too deep, or holds NaN or an infinity."""
    huge = _HUGE.search(data)
    if not huge:
        with suppress(ValueError):  # three times as quick; what it does not take has its words from the other
            return from_json(data, allow_inf_nan=False)
    number = _finite if huge else None  # it costs a call a number
    try:
        value: object = json.loads(
            data.decode("utf-8", "surrogateescape"), parse_constant=_no_number, parse_float=number
        )
        return value
    except json.JSONDecodeError as error:
        raise ValueError(f"is torn or damaged at character {error.pos + 1}: {error.msg}") from None
    except RecursionError:
        raise ValueError("is damaged: it nests too deep") from None


def _no_number(text: str) -> float:
    raise ValueError(f"is damaged: it holds {text}, which is no number")


def _finite(text: str) -> float:
    number = float(text)
    return _no_number(text) if number in (float("inf"), float("-inf")) else number


def parse_lines(
    data: bytes, read: Callable[[dict[str, object]], Read], *, file: str
) -> tuple[list[tuple[int, Read]], list[Refused]]:
    """The objects of JSON lines in order, with the number of their line, as `read` makes them (it raises OptionError for
    what is none); and the lines left out, in which `file` is named."""
    found: list[tuple[int, Read]] = []
    refused: list[Refused] = []
    for number, line in _lines(data):
        try:
            if len(line) > MAX_LINE:
                raise OptionError(f"is longer than {MAX_LINE // 1_000_000} MB")
            value = plain_json(line)
            if not isinstance(value, dict):
                raise OptionError("is damaged: it is no JSON object")
            made = read(value)
        except (ValueError, OptionError) as error:
            fault = error if isinstance(error, OptionError) else OptionError(str(error))
            about = _named(line)
            refused.append(
                Refused(
                    error=fault.at(file=file, line=number),
                    clip=about.get("clip", ""),
                    job=about.get("job", ""),
                )
            )
        else:
            found.append((number, made))
    if refused and not data.endswith(b"\n") and refused[-1].error.line == data.count(b"\n") + 1:
        refused[-1] = replace(refused[-1], mild=True)
    return found, refused


def _lines(data: bytes) -> Iterator[tuple[int, bytes]]:
    for number, line in enumerate(data.split(b"\n"), 1):
        if line.strip():
            yield number, line


def _named(line: bytes) -> dict[str, str]:
    """The job and clip that a damaged line is about, by its beginning."""
    found: dict[str, str] = {}
    for key, text in _NAMES.findall(line[:_NAMED_WITHIN]):
        try:
            name = json.loads(b'"' + text + b'"')
        except ValueError:
            name = text.decode("utf-8", "replace")
        found.setdefault(key.decode(), name)
    return found
