"""The `iXML` chunk: scene, take, sound roll, tracks, file set and speed of a recording.

Source: iXML specification 3 (gallery.co.uk/ixml), "Individual Object Details". Every object is optional. Any Unicode encoding,
NULs after the root and white space anywhere are taken; text that is not what the declaration says, and signs that should have
been escaped (`R&B`), are read as well as they can be, and said.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element, ParseError

from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate

__all__ = ["IXml", "Track", "parse_ixml", "parse_speed"]

MOST_TAGS = 100_000
MOST_DEEP = 200
MOST_TRACKS = 512
LONGEST = 300  # characters of a name or note
_ENCODINGS = {"ascii", "utf-8", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "utf-32-be"}
_ENCODINGS |= {
    "iso8859-1",
    "iso8859-15",
    "cp1252",
    "mac-roman",
    "shift_jis",
    "cp932",
    "euc_jp",
    "gb2312",
    "gbk",
    "big5",
}
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


@dataclass(frozen=True, kw_only=True)
class Track:
    """One track of a recording. `place` is its channel in this file and `channel` the recorder's track, both from 1."""

    place: int
    channel: int
    name: str = ""
    function: str = ""


@dataclass(frozen=True, kw_only=True)
class IXml:
    """The fields of iXML; empty or None where it does not state them. Rates are in samples or frames a
    second."""

    texts: Mapping[str, str] = field(
        default_factory=dict
    )  # PROJECT, SCENE, TAKE, TAPE, NOTE, UBITS, FILE_UID ...
    circled: bool = False
    wild: bool = False
    no_good: bool = False
    false_start: bool = False
    family: str = ""  # FAMILY_UID
    family_name: str = ""
    family_index: str = ""
    family_files: int | None = None  # TOTAL_FILES
    tracks: tuple[Track, ...] = ()
    timecode_rate: Fraction | None = None
    drop: bool | None = None
    current_speed: Fraction | None = None
    stamp_rate: int | None = None  # TIMESTAMP_SAMPLE_RATE
    digitizer_rate: int | None = None
    file_rate: int | None = None
    stamp: int | None = None  # TIMESTAMP_SAMPLES_SINCE_MIDNIGHT
    notes: tuple[str, ...] = ()

    def __getitem__(self, key: str) -> str:
        return self.texts.get(key, "")


def parse_ixml(data: bytes) -> IXml:
    """From the bytes of the chunk. Never raises: of what is no XML nothing is known, and it is said."""
    notes: list[str] = []
    root = _root(data, notes)
    if root is None:
        return IXml(notes=tuple(notes))
    top: dict[str, Element] = {}
    for node in root:
        top.setdefault(_name(node), node)
    texts = {name: found for name, node in top.items() if len(node) == 0 and (found := _text(node))}
    speed, family = _values(top.get("SPEED")), _values(top.get("FILE_SET"))
    history = _values(top.get("HISTORY"))
    if history.get("ORIGINAL_FILENAME"):
        texts.setdefault("ORIGINAL_FILENAME", history["ORIGINAL_FILENAME"])
    rate, drop = parse_speed(speed.get("TIMECODE_RATE", ""))
    flag = speed.get("TIMECODE_FLAG", "").upper()
    marks = f"{texts.get('TAKE_TYPE', '')}".upper()
    high, low = (_whole(speed.get(f"TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_{half}", "")) for half in ("HI", "LO"))
    if speed.get("TIMECODE_RATE") and rate is None:
        notes.append(f"its iXML has a timecode rate that cannot be read: {speed['TIMECODE_RATE'][:40]!r}")
    return IXml(
        texts=texts,
        circled=_yes(texts.get("CIRCLED")),
        wild=_yes(texts.get("WILD_TRACK")) or "WILD_TRACK" in marks,
        no_good=_yes(texts.get("NO_GOOD")) or "NO_GOOD" in marks,
        false_start=_yes(texts.get("FALSE_START")) or "FALSE_START" in marks,
        family=family.get("FAMILY_UID", ""),
        family_name=family.get("FAMILY_NAME", ""),
        family_index=family.get("FILE_SET_INDEX", ""),
        family_files=_whole(family.get("TOTAL_FILES", "")),
        tracks=tuple(_tracks(top.get("TRACK_LIST"))),
        timecode_rate=rate,
        drop={"DF": True, "NDF": False}.get(flag, drop),
        current_speed=parse_speed(speed.get("CURRENT_SPEED", ""))[0],
        stamp_rate=_hertz(speed.get("TIMESTAMP_SAMPLE_RATE", "")),
        digitizer_rate=_hertz(speed.get("DIGITIZER_SAMPLE_RATE", "")),
        file_rate=_hertz(speed.get("FILE_SAMPLE_RATE", "")),
        stamp=None if low is None else ((high or 0) << 32) + low,
        notes=tuple(notes),
    )


_RATE = re.compile(
    r"0*(\d{1,6}(?:\.\d{1,6})?(?:\s*/\s*\d{1,6})?)\s*(?:fps)?\s*[-_ ]?\s*(ND?F?|DF?)?", re.IGNORECASE
)


def parse_speed(text: str) -> tuple[Fraction | None, bool | None]:
    """A timecode rate, and whether it drops frames, as recorders write it: `24000/1001`, `23.976`, `023.976-ND`, `2997ND`,
    `29.97DF`. None for what is not said; (None, None) for what is no rate."""
    match = _RATE.fullmatch(text.strip())
    if not match:
        return None, None
    number = match[1].replace(" ", "")
    if (
        "/" not in number and "." not in number and len(number) > 3
    ):  # 2398, 23976: without their point, as some write
        number = f"{number[:2]}.{number[2:]}"
    try:
        rate = FrameRate.parse(number).fraction
    except TimecodeError:
        return None, None
    mark = (match[2] or "").upper()
    return rate, None if not mark else mark.startswith("D")


# --- XML


def _root(data: bytes, notes: list[str]) -> Element | None:
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    text = _decoded(data, notes).rstrip("\0").strip().lstrip("\ufeff")
    text = text[text.find("<") :] if "<" in text else ""
    if not text:
        notes.append("its iXML is empty")
        return None
    text = re.sub(r"^<\?xml.*?\?>", "", text, count=1, flags=re.DOTALL)  # its encoding has been dealt with
    if text.count("<") > MOST_TAGS or _depth(text) > MOST_DEEP:
        notes.append("its iXML is far too large, so it is not read")
        return None
    problem = ""
    for attempt in (text, _mended(text)):
        try:
            root = fromstring(attempt)
        except (ParseError, DefusedXmlException, ValueError, LookupError) as error:
            problem = problem or (str(error).partition("\n")[0] or type(error).__name__)
            continue
        if problem:
            notes.append(f"its iXML is not well formed ({problem[:80]}); what can be read of it is used")
        return root
    notes.append(f"its iXML cannot be read ({problem[:80]}); bext alone is used")
    return None


def _decoded(data: bytes, notes: list[str]) -> str:
    """The text, by its byte order mark, its declaration, the NULs of wide characters, else UTF-8 or Latin-1."""
    mark = next((name for start, name in _MARKS if data.startswith(start)), "")
    if not mark and data[:2] in (b"<\0", b"\0<"):
        mark = "utf-16-le" if data[:1] == b"<" else "utf-16-be"
    named = re.match(rb"\s*<\?xml[^>]{0,200}encoding\s*=\s*[\"']([A-Za-z0-9._-]{1,40})", data)
    wanted = mark or (named[1].decode("ascii") if named else "utf-8")
    if mark.startswith(("utf-16", "utf-32")):
        width = 4 if "32" in mark else 2
        data = data[: len(data) // width * width]
    try:
        name = codecs.lookup(wanted).name
        if name in _ENCODINGS or name == "utf-8-sig":
            return data.decode(name)
    except (LookupError, UnicodeDecodeError, ValueError):
        pass
    for name in ("utf-8", "latin-1"):
        try:
            found = data.decode(name)
        except UnicodeDecodeError:
            continue
        notes.append(
            f"its iXML is not {wanted} text; it is read as {'UTF-8' if name == 'utf-8' else 'Latin-1'}"
        )
        return found
    return ""  # not reached: every byte is Latin-1


def _mended(text: str) -> str:
    """Text whose stray `&` and `<` are escaped, and what XML has no place for left out."""
    text = re.sub(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", text)
    text = re.sub(r"&(?!(?:amp|lt|gt|quot|apos|#\d{1,7}|#x[0-9a-fA-F]{1,6});)", "&amp;", text)
    text = re.sub(r"<(?![A-Za-z_/!?])", "&lt;", text)
    end = text.rfind(">")
    return text[: end + 1]


def _depth(text: str) -> int:
    deep = most = 0
    for match in re.finditer(r"<(/?)[A-Za-z_][^<>]*?(/?)>", text):
        deep += -1 if match[1] else 0 if match[2] else 1
        most = max(most, deep)
    return most


def _name(node: Element) -> str:
    return str(node.tag).rpartition("}")[2].upper() if isinstance(node.tag, str) else ""


def _text(node: Element) -> str:
    return " ".join((node.text or "").split())[:LONGEST]


def _values(node: Element | None) -> dict[str, str]:
    found: dict[str, str] = {}
    for child in node if node is not None else ():
        found.setdefault(_name(child), _text(child))
    return found


def _tracks(node: Element | None) -> Iterator[Track]:
    """The tracks in order of their place in the file."""
    found: list[Track] = []
    for child in node if node is not None else ():
        if _name(child) == "TRACK" and len(found) < MOST_TRACKS:
            said, number = _values(child), len(found) + 1
            place = _whole(said.get("INTERLEAVE_INDEX", "")) or number
            found.append(
                Track(
                    place=place,
                    channel=_whole(said.get("CHANNEL_INDEX", "")) or place,
                    name=said.get("NAME", ""),
                    function=said.get("FUNCTION", ""),
                )
            )
    yield from sorted(found, key=lambda t: t.place)


def _whole(text: str) -> int | None:
    return int(text) if re.fullmatch(r"\d{1,19}", text) else None


def _hertz(text: str) -> int | None:
    match = re.fullmatch(r"(\d{1,7})(?:\.\d*)?(?:\s*Hz)?", text, re.IGNORECASE)
    return int(match[1]) or None if match else None


def _yes(text: str | None) -> bool:
    return (text or "").strip().upper() in ("TRUE", "YES", "1")
