"""XMP packets (ISO 16684-1) and where a still holds one: JPEG in an APP1 segment, PNG in an iTXt chunk, TIFF in tag 700.

Source of the places: Adobe, XMP Specification Part 3, 1.1.3 (JPEG), 1.1.5 (PNG), 1.1.6 (TIFF). One packet a file: what a
library has put there goes. Pictures and all else stay as they are.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator, Mapping
from xml.sax.saxutils import escape, quoteattr

from rushlight.pipelines.errors import DeliveryError

__all__ = ["NAMESPACES", "with_xmp", "xmp_packet"]

OURS = "urn:rushlight:clip:1:"
NAMESPACES: Mapping[str, str] = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "exif": "http://ns.adobe.com/exif/1.0/",
    "exifEX": "http://cipa.jp/exif/1.0/",
    "rushlight": OURS,
    "tiff": "http://ns.adobe.com/tiff/1.0/",
    "xmpDM": "http://ns.adobe.com/xmp/1.0/DynamicMedia/",
}
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_FIT = 60_000  # bytes: a JPEG segment holds 65,533, the name of the namespace among them
_JPEG = b"http://ns.adobe.com/xap/1.0/\0"
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, 2.2
_LISTS = {"dc:title": "Alt", "dc:description": "Alt", "exif:ISOSpeedRatings": "Seq"}
_XMP_TAG = 700
_PACKET = re.compile(rb"<\?xpacket begin=.{1,65536}?<\?xpacket end=.[rw].\?>", re.DOTALL)


def xmp_packet(properties: Mapping[str, str]) -> bytes:
    """A packet of properties by prefixed name, such as `dc:title`, in order. Texts are cut where all would not fit a JPEG."""
    for longest in (4000, 1000, 200, 40):
        data = _packet({name: text[:longest] for name, text in properties.items()})
        if len(data) <= _FIT:
            break
    return data


def _packet(properties: Mapping[str, str]) -> bytes:
    used = sorted({name.partition(":")[0] for name in properties})
    spaces = "".join(f" xmlns:{prefix}={quoteattr(NAMESPACES[prefix])}" for prefix in used)
    lines = "\n".join(f"  {_element(name, text)}" for name, text in properties.items())
    text = (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
        f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="{_RDF}">\n'
        f' <rdf:Description rdf:about=""{spaces}>\n{lines}\n </rdf:Description>\n</rdf:RDF></x:xmpmeta>\n'
        '<?xpacket end="r"?>'
    )
    return text.encode()


def _element(name: str, text: str) -> str:
    value = escape(_NO_XML.sub("\ufffd", text))
    if kind := _LISTS.get(name):
        language = ' xml:lang="x-default"' if kind == "Alt" else ""
        value = f"<rdf:{kind}><rdf:li{language}>{value}</rdf:li></rdf:{kind}>"
    return f"<{name}>{value}</{name}>"


def with_xmp(data: bytes, kind: str, packet: bytes) -> bytes:
    """A still's bytes with the packet in them. `kind` is that of the still: `jpeg`, `png8`, `tiff16` and so on. DeliveryError
    for what is no such file."""
    put = {"jp": _in_jpeg, "pn": _in_png, "ti": _in_tiff}[kind[:2]]
    try:
        return put(data, packet)
    except (struct.error, IndexError, ValueError) as error:
        raise DeliveryError(f"is no {kind} to put metadata into: {error}") from None


def _in_jpeg(data: bytes, packet: bytes) -> bytes:
    if data[:2] != b"\xff\xd8":
        raise ValueError("it has no SOI marker")
    ours = b"\xff\xe1" + struct.pack(">H", 2 + len(_JPEG) + len(packet)) + _JPEG + packet
    segments, place = [], 2
    while data[place] == 0xFF and data[place + 1] != 0xDA:  # up to the scan
        (length,) = struct.unpack_from(">H", data, place + 2)
        segments.append(data[place : place + 2 + length])
        place += 2 + length
    segments = [segment for segment in segments if not segment[4:].startswith(_JPEG)]
    first = [segment for segment in segments if segment[1] in (0xE0, 0xE1)]  # JFIF and EXIF
    rest = [segment for segment in segments if segment[1] not in (0xE0, 0xE1)]
    return b"".join([data[:2], *first, ours, *rest, data[place:]])


def _in_png(data: bytes, packet: bytes) -> bytes:
    if data[:8] != b"\x89PNG\r\n\x1a\n" or data[12:16] != b"IHDR":
        raise ValueError("it has no signature")
    body = b"iTXt" + b"XML:com.adobe.xmp\0\0\0\0\0" + packet  # not compressed, no language
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    return b"".join([data[:33], chunk, data[33:]])  # after IHDR, of 25 bytes


def _in_tiff(data: bytes, packet: bytes) -> bytes:
    """The one directory of the file goes to its end, with the packet before it."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(data[:4], "")
    if not order:
        raise ValueError("it has no header of a classic TIFF")
    (first,) = struct.unpack_from(f"{order}I", data, 4)
    entries, after = _entries(data, first, order)
    if entries.pop(_XMP_TAG, None):  # libtiff leaves one more behind that no tag leads to
        data = _PACKET.sub(lambda old: bytes(len(old[0])), data)
    body = bytearray(data) + bytes(len(data) % 2)
    entries[_XMP_TAG] = struct.pack(f"{order}HHII", _XMP_TAG, 1, len(packet), len(body))
    body += packet + bytes(len(packet) % 2)
    struct.pack_into(f"{order}I", body, 4, len(body))
    body += struct.pack(f"{order}H", len(entries)) + b"".join(entries[tag] for tag in sorted(entries)) + after
    return bytes(body)


def _entries(data: bytes, first: int, order: str) -> tuple[dict[int, bytes], bytes]:
    """Entries of a directory by tag, 12 bytes each; and the place of the next directory, as it stands."""
    (count,) = struct.unpack_from(f"{order}H", data, first)
    each: Iterator[bytes] = (data[first + 2 + 12 * n : first + 14 + 12 * n] for n in range(count))
    entries = {struct.unpack_from(f"{order}H", entry)[0]: entry for entry in each}
    end = first + 2 + 12 * count
    if len(entries) != count or len(data) < end + 4:
        raise ValueError("its directory is cut short")
    return entries, data[end : end + 4]
