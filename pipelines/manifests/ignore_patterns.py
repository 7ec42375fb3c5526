"""Ignore patterns of a manifest: the syntax of gitignore (git's documentation, gitignore(5), "PATTERN FORMAT").

Patterns are text that anybody may have written, so they are matched without regular expressions: the time grows with the
length of pattern and path and never beyond.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

__all__ = ["DEFAULT", "IgnorePatterns"]

DEFAULT = (".DS_Store", "ascmhl", "ascmhl/")  # the specification's own

Token = str | None | tuple[bool, tuple[tuple[str, str], ...]]  # a character, `?`, a class


@dataclass(frozen=True)
class _Segment:
    """A pattern of one part of a path: runs of tokens between its stars."""

    runs: tuple[tuple[Token, ...], ...]

    def matches(self, name: str) -> bool:
        first, *others = self.runs
        if not others:
            return len(name) == len(first) and _fits(first, name, 0)
        *middle, last = others
        if len(name) < len(first) + len(last) or not _fits(first, name, 0):
            return False
        if not _fits(last, name, len(name) - len(last)):
            return False
        at, end = len(first), len(name) - len(last)
        for run in middle:  # the earliest place of each is as good as any
            while at + len(run) <= end and not _fits(run, name, at):
                at += 1
            if at + len(run) > end:
                return False
            at += len(run)
        return True


@dataclass(frozen=True)
class _Pattern:
    """One line: its parts (None for `**`), whether it takes back, and whether it is for folders only."""

    parts: tuple[_Segment | None, ...]
    back: bool
    folders: bool

    def matches(self, path: tuple[str, ...], folder: bool) -> bool:
        if self.folders and not folder:
            return False
        reached = {0}  # counts of the path's parts that the pattern's first parts may have taken
        for number, part in enumerate(self.parts):
            if part is None:
                last = number == len(self.parts) - 1  # `a/**` is what lies inside of a, not a itself
                reached = set(range(min(reached) + last, len(path) + 1)) if reached else reached
            else:
                reached = {at + 1 for at in reached if at < len(path) and part.matches(path[at])}
            if not reached:
                return False
        return len(path) in reached


class IgnorePatterns:
    """The patterns of a manifest, for paths relative to its folder."""

    def __init__(self, lines: Iterable[str] = DEFAULT) -> None:
        once = reversed(dict.fromkeys(reversed([*lines])))  # the last of equal lines has the last word
        self._patterns = [p for p in map(_parsed, once) if p]
        self._folder = lru_cache(maxsize=100_000)(self._folder_left_out)

    def leaves_out(self, path: str, *, folder: bool = False) -> bool:
        """True if a path (with `/`) is ignored, or a folder that it lies in: what is in that cannot be taken back."""
        parts = tuple(path.split("/"))
        return (len(parts) > 1 and self._folder(parts[:-1])) or self._last_word(parts, folder)

    def _folder_left_out(self, parts: tuple[str, ...]) -> bool:
        return any(self._last_word(parts[:n], True) for n in range(1, len(parts) + 1))

    def _last_word(self, parts: tuple[str, ...], folder: bool) -> bool:
        for pattern in reversed(self._patterns):
            if pattern.matches(parts, folder):
                return not pattern.back
        return False


def _parsed(line: str) -> _Pattern | None:
    if line.startswith("#"):
        return None
    text = _without_end_spaces(line.rstrip("\r\n"))
    back = text.startswith("!")
    text = text[back:]
    folders = text.endswith("/")
    text = text.rstrip("/") if folders else text
    if not text:
        return None
    parts: list[_Segment | None] = [
        None if part == "**" else _segment(part) for part in text.removeprefix("/").split("/")
    ]
    if "/" not in text:
        parts.insert(0, None)  # at any depth
    slim = [part for n, part in enumerate(parts) if part is not None or n == 0 or parts[n - 1] is not None]
    return _Pattern(tuple(slim), back, folders)


def _without_end_spaces(line: str) -> str:
    bare = line.rstrip(" ")
    escaped = (len(bare) - len(bare.rstrip("\\"))) % 2 == 1
    return bare + " " if escaped and len(bare) < len(line) else bare


def _segment(text: str) -> _Segment:
    runs: list[list[Token]] = [[]]
    at = 0
    while at < len(text):
        sign = text[at]
        at += 1
        if sign == "*":
            runs.append([])
        elif sign == "?":
            runs[-1].append(None)
        elif sign == "\\" and at < len(text):
            runs[-1].append(text[at])
            at += 1
        elif sign == "[" and (found := _class(text, at)):
            token, at = found
            runs[-1].append(token)
        else:
            runs[-1].append(sign)
    return _Segment(tuple(map(tuple, runs)))


def _class(text: str, at: int) -> tuple[Token, int] | None:
    """The class of characters that opens before `at`, and where it ends; None where it does not."""
    no = text[at : at + 1] in ("!", "^")
    at += no
    ranges: list[tuple[str, str]] = []
    first = True
    while at < len(text) and (first or text[at] != "]"):
        first = False
        low, at = _class_sign(text, at)
        if text[at : at + 1] == "-" and at + 1 < len(text) and text[at + 1] != "]":
            high, at = _class_sign(text, at + 1)
            ranges.append((low, high))
        else:
            ranges.append((low, low))
    return ((no, tuple(ranges)), at + 1) if at < len(text) else None


def _class_sign(text: str, at: int) -> tuple[str, int]:
    if text[at] == "\\" and at + 1 < len(text):
        return text[at + 1], at + 2
    return text[at], at + 1


def _fits(run: tuple[Token, ...], name: str, start: int) -> bool:
    return all(_is(token, name[start + n]) for n, token in enumerate(run))


def _is(token: Token, sign: str) -> bool:
    if token is None or isinstance(token, str):
        return token is None or token == sign
    no, ranges = token
    return any(low <= sign <= high for low, high in ranges) != no
