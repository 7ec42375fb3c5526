"""An original's header in words: the names that people have for its fields; records and JSON keep the keys as they are."""

from __future__ import annotations

import re
from collections.abc import Mapping

from rushlight.pipelines.originals.camera_header import HEADER_FACTS

__all__ = ["header_in_words", "said_by_in_words"]

_LIBRARY = "oiio:"  # begins OpenImageIO's own notes on a file
_TIMECODE = "smpte:TimeCode"  # in SMPTE ST 12-1 words, as OpenEXR has it
_FACTS = {key: keys.says.partition(",")[0] for keys in HEADER_FACTS.values() for key in keys.keys}
_TURNED = re.compile(
    r"^[a-z]{2,3}(\.[a-z0-9-]+){2,3}\.(?=[a-z])"
)  # a maker's own namespace, such as org.example.camera.
_PARTS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|[^\sA-Za-z\d_.]+")
_SAID = re.compile(r"^(its header) \((.*)\)$")


def header_in_words(header: Mapping[str, str]) -> list[tuple[str, str]]:
    """Names and values as they are shown, without a library's own notes; each pair once."""
    shown = ((key, value) for key, value in header.items() if not key.startswith(_LIBRARY))
    return list(
        dict.fromkeys((_words(key), _timecode(value) if key == _TIMECODE else value) for key, value in shown)
    )


def said_by_in_words(said_by: str) -> str:
    """Who states a fact, with the header's field in words: `its header (lens model)`."""
    return _SAID.sub(lambda found: f"{found[1]} ({_plain(found[2])})", said_by)


def _words(key: str) -> str:
    return _FACTS.get(key) or _plain(key)


def _plain(key: str) -> str:
    """`frame rate` of `dpx:FrameRate`, `lens model` of `com.apple.quicktime.lens_model`; capitals that stand together stay."""
    name = _TURNED.sub("", key).rpartition(":")[2] or key
    parts = [part if part.isupper() and len(part) > 1 else part.lower() for part in _PARTS.findall(name)]
    return " ".join(parts).replace("time code", "timecode") or key


def _timecode(value: str) -> str:
    """`14:00:00:00` of a timecode word and its user bits (SMPTE ST 12-1, 9.2, in the order of bits of OpenEXR's TimeCode); what is
    none stays as it is."""
    first = value.split()[0] if value.split() else ""
    if not first.isdecimal() or int(first) >= 1 << 32:
        return value
    word = int(first)
    hours, minutes, seconds, frames = (
        10 * (word >> at + 4 & tens) + (word >> at & 15) for at, tens in ((24, 3), (16, 7), (8, 7), (0, 3))
    )
    return f"{hours:02}:{minutes:02}:{seconds:02}{';' if word & 64 else ':'}{frames:02}"
