"""The XMP packet of a file, found by a scan for it and read by an XML parser: independent of what wrote it."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import fromstring

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
PREFIXES = {
    "http://purl.org/dc/elements/1.1/": "dc",
    "http://ns.adobe.com/exif/1.0/": "exif",
    "http://cipa.jp/exif/1.0/": "exifEX",
    "http://ns.adobe.com/tiff/1.0/": "tiff",
    "http://ns.adobe.com/xmp/1.0/DynamicMedia/": "xmpDM",
    "urn:rushlight:clip:1:": "rushlight",
}


def properties(data: bytes) -> dict[str, str]:
    """The properties of the one packet that a scan of a file finds (XMP Specification Part 3, 1.1: packet scanning)."""
    (packet,) = re.findall(rb"<\?xpacket begin=.*?<\?xpacket end=\"[rw]\"\?>", data, re.DOTALL)
    root = fromstring(packet.decode("utf-8"))
    (description,) = root.iter(f"{RDF}Description")
    found = {}
    for element in description:
        uri, _, name = element.tag[1:].partition("}")
        found[f"{PREFIXES[uri]}:{name}"] = _value(element)
    return found


def _value(element: Element) -> str:
    items = [item.text or "" for item in element.iter(f"{RDF}li")]
    return items[0] if items else element.text or ""
