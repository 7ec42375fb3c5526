"""MXF packages for relink: names, comments and UMIDs of the clip, of its file and of the reel that it came from.

Sources: SMPTE ST 377-1 (KLV packets, packages), ST 378 (OP1a), ST 330 (UMID), RFC 5119 (its text form); the keys of
metadata are those of FFmpeg's muxer, measured. Held bit-exact, that muxer gives the packages of every file the same three
UMIDs, and not held so, random ones: here they become functions of what they name, so that one reel is one tape in every
file, no two clips are one, and the same job gives the same bytes.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO
from uuid import UUID, uuid5

from rushlight.pipelines.errors import DeliveryError, from_os
from rushlight.pipelines.heartbeat import beat
from rushlight.pipelines.visible_text import visible

__all__ = ["Umids", "mxf_metadata", "set_umids", "umid_text", "umids_of"]

_LONGEST = 4000  # characters of a comment: FFmpeg leaves one out that a local set of 64 KiB cannot hold
_SPACE = UUID(
    "34861a59-2fbb-556c-8791-635eed894495"
)  # what our names are hashed under; another gives other UMIDs
_LABEL = bytes.fromhex("060a2b340101010501010d0013000000")  # universal label, length, instance 0 (ST 330)
_MADE = {name: _LABEL + bytes(15) + bytes([n]) for n, name in enumerate(("material", "file", "reel"))}
_KLV = bytes.fromhex("060e2b34")
_ESSENCE = b"\x01\x02"  # bytes 5 and 6 of the key of a picture or of sound (ST 379-1)


@dataclass(frozen=True, kw_only=True)
class Umids:
    """UMIDs of the packages of one MXF file, as `urn:smpte:umid:…`: the clip (material package), the file, and the reel
    (tape), which is empty where there is none."""

    material: str
    file: str
    reel: str


def umids_of(clip: str, reel: str) -> Umids:
    """UMIDs of a clip's file: of the reel's name alone for the tape, of `clip`, whatever tells it from others, for the rest."""
    return Umids(
        material=_umid(f"clip {clip}"), file=_umid(f"file {clip}"), reel=_umid(f"reel {reel}") if reel else ""
    )


def _umid(name: str) -> str:
    return umid_text((_LABEL + uuid5(_SPACE, name).bytes).hex())


def umid_text(hexadecimal: str) -> str:
    """64 hex digits, as FFmpeg reports a UMID (`0x…`), in the form of RFC 5119; empty for anything else."""
    digits = hexadecimal.lower().removeprefix("0x")
    if len(digits) != 64:
        return ""
    return "urn:smpte:umid:" + ".".join(digits[n : n + 8] for n in range(0, 64, 8))


def _bytes(umid: str) -> bytes:
    return bytes.fromhex(umid.removeprefix("urn:smpte:umid:").replace(".", ""))


def mxf_metadata(name: str, comments: Mapping[str, str]) -> dict[str, str]:
    """A clip's name and its comments by name, as FFmpeg's muxer takes them; an empty one is not stated."""
    found = {"material_package_name": name}
    found |= {f"comment_{key}": text for key, value in comments.items() if (text := value.strip())}
    return {key: visible(text, lines=True)[:_LONGEST] for key, text in found.items()}


def set_umids(path: Path, umids: Umids) -> None:
    """Give the packages of a bit-exact MXF, not delivered yet, their UMIDs, wherever the file states them: in the
    packages, in what refers to them, and once a frame. Doing it twice is an error.

    DeliveryError where it is no such file, ResourceError where it cannot be written.
    """
    wanted = {name: made for name, made in _MADE.items() if name != "reel" or umids.reel}
    new = {name: _bytes(getattr(umids, name)) for name in wanted}
    seen = set()
    try:
        with path.open("r+b") as stream:
            for place, value in _values(stream, path):
                here = {name for name, made in wanted.items() if made in value}
                if not here:
                    continue
                for name in here:
                    value = value.replace(wanted[name], new[name])
                stream.seek(place)
                stream.write(value)
                seen |= here
    except OSError as error:
        raise from_os(error, path) from None
    if lacking := [name for name in wanted if name not in seen]:
        raise DeliveryError(
            f"has no UMID of its {' and '.join(lacking)} where FFmpeg writes one", file=str(path)
        )


def _values(stream: BinaryIO, path: Path) -> Iterator[tuple[int, bytes]]:
    """Where the value of each KLV packet begins, and its bytes; those of pictures and sound are passed over."""
    end, place = os.fstat(stream.fileno()).st_size, 0
    while place < end:
        stream.seek(place)
        head = stream.read(25)  # key of 16 bytes, length in BER form of up to 9
        count = head[16] & 0x7F if len(head) > 16 and head[16] & 0x80 else 0
        if head[:4] != _KLV or len(head) < 17 + count or count > 8:
            raise DeliveryError(f"is no MXF: no KLV packet begins at byte {place}", file=str(path))
        length = int.from_bytes(head[17 : 17 + count], "big") if count else head[16]
        place += 17 + count
        if place + length > end:
            raise DeliveryError("is no whole MXF: it ends within a KLV packet", file=str(path))
        if head[4:6] != _ESSENCE:
            stream.seek(place)
            yield place, stream.read(length)
        else:
            beat()
        place += length
