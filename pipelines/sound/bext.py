"""The `bext` chunk of a Broadcast Wave file, versions 0 to 2.

Source: EBU Tech 3285 v2 (2011), clause 2.3. Text is ASCII and NUL-padded by the standard; what is not is read as UTF-8, else
as Latin-1, and said. A chunk that is too short gives the fields that it has.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Bext", "parse_bext"]

_TEXTS = {
    "description": (0, 256),
    "originator": (256, 32),
    "reference": (288, 32),
    "date": (320, 10),
    "time": (330, 8),
}
_NOTED = re.compile(
    r"[a-z]?([A-Z][A-Z0-9_]*)=(.*)"
)  # sSCENE=12, dSCENE=12, SCENE=12: the prefix is the recorder's


@dataclass(frozen=True, kw_only=True)
class Bext:
    """The fields of a `bext` chunk. `time_reference` is in samples since midnight (64 bits), None where the
    chunk ends before it."""

    description: str = ""
    originator: str = ""
    reference: str = ""
    date: str = ""  # yyyy-mm-dd, any separators
    time: str = ""  # hh:mm:ss
    time_reference: int | None = None
    version: int = 0
    described: Mapping[str, str] = field(
        default_factory=dict
    )  # SCENE=, TAKE= and the like of the description
    notes: tuple[str, ...] = ()


def parse_bext(data: bytes) -> Bext:
    """From the bytes of the chunk. Never raises: what is not there is empty, and said."""
    notes: list[str] = []
    texts = {name: _text(data[at : at + size], notes) for name, (at, size) in _TEXTS.items()}
    if len(data) < 602:
        notes.append(
            f"its bext chunk is {len(data)} bytes long instead of 602 or more; the fields it has are used"
        )
    reference = struct.unpack_from("<Q", data, 338)[0] if len(data) >= 346 else None
    version = struct.unpack_from("<H", data, 346)[0] if len(data) >= 348 else 0
    described: dict[str, str] = {}
    for line in re.split(r"[\r\n]+", texts["description"]):
        if match := _NOTED.fullmatch(line.strip()):
            described.setdefault(match[1], match[2].strip())
    return Bext(
        **texts,
        time_reference=reference,
        version=version,
        described=described,
        notes=tuple(dict.fromkeys(notes)),
    )


def _text(raw: bytes, notes: list[str]) -> str:
    raw = raw.partition(b"\0")[0]
    if raw.isascii():
        return raw.decode("ascii").strip()
    try:
        return raw.decode("utf-8").strip()
    except UnicodeDecodeError:
        notes.append("text in its bext chunk is not UTF-8; it is read as Latin-1")
        return raw.decode("latin-1").strip()
