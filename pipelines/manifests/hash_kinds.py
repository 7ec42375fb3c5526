"""Hash kinds that ASC MHL 2.0 names: md5, sha1, xxh64, xxh3, xxh128 and c4.

Source: ASC Media Hash List, specification v1.0, and its schema (HashType). xxh3 is XXH3 of 64 bits and xxh128 XXH3 of 128;
hex digits of all are big endian. A C4 ID (SMPTE ST 2114:2017) is SHA-512 in base 58: `c4` and 88 characters.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import xxhash

__all__ = ["KINDS", "HashKind", "Hasher", "c4", "fault_of"]

_C4 = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"


class Hasher(Protocol):
    """A hash that grows with the bytes it is given."""

    def update(self, data: bytes | bytearray | memoryview, /) -> object: ...
    def digest(self) -> bytes: ...


@dataclass(frozen=True, kw_only=True)
class HashKind:
    """One kind: its name in a manifest, a new hasher, and the form of its text. `slow`: under 1 GB/s on one core."""

    name: str
    new: Callable[[], Hasher]
    form: re.Pattern[str]
    says: str  # the form in words
    slow: bool = False

    def text(self, digest: bytes) -> str:
        """A digest as a manifest writes it."""
        return _base58(digest) if self.name == "c4" else digest.hex()

    def plain(self, stated: str) -> str:
        """A stated hash as `text` writes it: hex digits may stand in capitals, a C4 ID may not."""
        return stated if self.name == "c4" else stated.lower()


def _hex(name: str, new: Callable[[], Hasher], digits: int, *, slow: bool = False) -> HashKind:
    form = re.compile(rf"[0-9A-Fa-f]{{{digits}}}")
    return HashKind(name=name, new=new, form=form, says=f"{digits} hex digits", slow=slow)


# In the order in which they are wanted where a manifest states several: the fastest first.
KINDS = {
    kind.name: kind
    for kind in (
        _hex("xxh3", xxhash.xxh3_64, 16),
        _hex("xxh128", xxhash.xxh3_128, 32),
        _hex("xxh64", xxhash.xxh64, 16),
        _hex("sha1", lambda: hashlib.sha1(usedforsecurity=False), 40, slow=True),
        HashKind(
            name="c4",
            new=hashlib.sha512,
            form=re.compile(rf"c4[{_C4}]{{88}}"),
            says="c4 and 88 characters of base 58",
            slow=True,
        ),
        _hex("md5", lambda: hashlib.md5(usedforsecurity=False), 32, slow=True),
    )
}


def c4(data: bytes) -> str:
    """C4 ID of some bytes."""
    return _base58(hashlib.sha512(data).digest())


def fault_of(kind: str, stated: str) -> str:
    """Why a stated hash cannot be compared with, in words; empty where it can."""
    known = KINDS.get(kind)
    if known is None:
        return f"its hash is of a kind that ASC MHL 2.0 does not have: {kind}"
    if not known.form.fullmatch(stated):
        return f"its {kind} is {stated[:100]!r}, and one has {known.says}"
    return ""


def _base58(digest: bytes) -> str:
    number = int.from_bytes(digest, "big")
    digits = ""
    while number:
        number, digit = divmod(number, 58)
        digits = _C4[digit] + digits
    return "c4" + digits.rjust(88, _C4[0])
