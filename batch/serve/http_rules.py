"""Rules of HTTP that a request is held to, as pure functions: its target, its Host, its ranges (RFC 9110, RFC 9112)."""

from __future__ import annotations

import hmac
import os
import re
from collections.abc import Collection
from dataclasses import dataclass
from urllib.parse import parse_qs, unquote_to_bytes

from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.inside_folder import parts_of

__all__ = ["Target", "byte_range", "host_is_ours", "parse_target", "same_token"]

_RANGE = re.compile(r"bytes=(\d{0,18})-(\d{0,18})", re.ASCII)
_HOST = re.compile(r"(\[[0-9a-fA-F:.]{2,45}\]|[A-Za-z0-9._-]{1,253})(?::(\d{1,5}))?", re.ASCII)
_ABSOLUTE = re.compile(r"https?://([^/?#]*)(.*)", re.ASCII | re.IGNORECASE | re.DOTALL)


@dataclass(frozen=True, kw_only=True)
class Target:
    """What a request asks for: the parts of a path inside, none of them hidden, empty, `.` or `..`."""

    authority: str  # of an absolute address, which counts in place of Host; empty otherwise
    parts: tuple[str, ...]  # empty for the root
    query: str

    def asked(self, name: str) -> str:
        """A value of the query; empty where it has none."""
        return parse_qs(self.query, max_num_fields=20, errors="replace").get(name, [""])[0]


def parse_target(text: str) -> Target | None:
    """A request's target (RFC 9112, section 3.2), decoded once. None for one that names nothing that could be served: another form, a
    hidden name, a way out, a NUL, what is no ASCII."""
    if not text.isascii() or not text.isprintable() or " " in text:
        return None
    absolute = _ABSOLUTE.fullmatch(text)
    authority, rest = (absolute[1], absolute[2] or "/") if absolute else ("", text)
    if absolute and not authority:
        return None
    path, _, query = rest.partition("?")
    if not path.startswith("/") or "#" in text:
        return None
    if path == "/":
        return Target(authority=authority, parts=(), query=query)
    try:
        # Parted before it is decoded: an encoded slash is no slash, and no file's name holds one.
        parts = tuple(os.fsdecode(unquote_to_bytes(part)) for part in path[1:].removesuffix("/").split("/"))
        parts_of("/".join(parts))
    except (OutsideError, ValueError):
        return None
    if any("/" in part or part.startswith(".") for part in parts):
        return None
    return Target(authority=authority, parts=parts, query=query)


def host_is_ours(host: str, port: int, names: Collection[str], *, secure: bool) -> bool:
    """True if a Host (or an absolute address's authority) is one of `names` at this port, or with the port that stands in the name: a
    page of somewhere else, whose name was made to lead here (DNS rebinding), has another."""
    match = _HOST.fullmatch(host)
    if not match:
        return False
    given = int(match[2]) if match[2] else (443 if secure else 80)
    name = match[1].strip("[]").rstrip(".").lower()
    return (given == port and name in names) or f"{name}:{given}" in names


def same_token(given: str, token: str) -> bool:
    """True for the token, in a time that does not tell how much of it was right."""
    return hmac.compare_digest(given.encode("utf-8", "surrogateescape"), token.encode())


def byte_range(text: str, size: int) -> tuple[int, int] | None:
    """First and last byte of a Range (RFC 9110, section 14.1.2) for a file of `size` bytes. None where the whole file is to be
    sent: no range, several, or one that does not read. ValueError where it names no byte of the file."""
    match = _RANGE.fullmatch(text.replace(" ", ""))
    if not match or not (match[1] or match[2]):
        return None
    if not match[1]:
        count = min(int(match[2]), size)
        if not count:
            raise ValueError("no byte")
        return size - count, size - 1
    first = int(match[1])
    last = min(int(match[2]), size - 1) if match[2] else size - 1
    if match[2] and int(match[2]) < first:
        return None
    if first >= size:
        raise ValueError("no byte")
    return first, last
