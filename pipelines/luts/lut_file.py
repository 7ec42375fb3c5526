"""A LUT file of any kind that is read: the one door for all who are handed one.

.cube is read here (Cube LUT Specification 1.0). CLF (SMPTE ST 2136-1), CTF, .spi1d, .spi3d and .csp are read by OpenColorIO once
their text is checked. Other kinds are their makers' own, without a published specification, and are refused.
"""

from __future__ import annotations

import re
from pathlib import PurePath
from xml.sax.saxutils import unescape

from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.cube_lut import parse_cube
from rushlight.pipelines.luts.lut_nodes import AnyLut
from rushlight.pipelines.luts.lut_text import check_rows, check_xml, narrow_range_lines
from rushlight.pipelines.luts.ocio_lut import read_by_opencolorio

__all__ = ["LUT_SUFFIXES", "input_described", "is_lut_file", "parse_lut", "says_narrow_range"]

LUT_SUFFIXES = (".cube", ".clf", ".ctf", ".spi1d", ".spi3d", ".csp")
_XML = (".clf", ".ctf")
_KINDS = ", ".join(LUT_SUFFIXES[:-1]) + f" and {LUT_SUFFIXES[-1]}"


def is_lut_file(name: str) -> bool:
    """True for the name of a LUT file that is read, by its suffix."""
    return PurePath(name).suffix.lower() in LUT_SUFFIXES


def parse_lut(data: bytes, *, file: str) -> AnyLut:
    """A LUT from the bytes of a file, whose name says its kind. LutError with the file, and the line where there is one."""
    suffix = PurePath(file).suffix.lower()
    if suffix not in LUT_SUFFIXES:
        raise LutError(
            f"is no LUT file that is read: {_KINDS} are. Where it is another kind of LUT, have it written as .clf or .cube",
            file=file,
        )
    if suffix == ".cube":
        return parse_cube(_cube_text(data, file), file=file)
    data = data.removeprefix(b"\xef\xbb\xbf")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise LutError("is UTF-16 text; save it as UTF-8", file=file)
    if b"\0" in data:
        line = data.count(b"\n", 0, data.index(b"\0")) + 1
        raise LutError("holds a NUL byte, so it is not a text file", file=file, line=line)
    if suffix in _XML:
        check_xml(data, suffix, file=file)
    else:
        check_rows(data.decode("utf-8", "replace"), suffix, file=file)
    return read_by_opencolorio(data, suffix, file=file)


def says_narrow_range(data: bytes, *, file: str) -> list[tuple[int, str]]:
    """Lines by which a .cube says that it takes or gives narrow range, with their numbers."""
    return narrow_range_lines(_cube_text(data, file)) if file.lower().endswith(".cube") else []


def input_described(data: bytes, *, file: str) -> str:
    """What a CLF or CTF says in words that it takes, on one line; empty where it says nothing."""
    if PurePath(file).suffix.lower() not in _XML:
        return ""
    found = re.search(rb"<InputDescriptor>([^<]{1,400})</InputDescriptor>", data)
    return " ".join(unescape(found[1].decode("utf-8", "replace")).split()) if found else ""


def _cube_text(data: bytes, file: str) -> str:
    """The text of a .cube: UTF-8 or, by its mark, UTF-16; comments in any encoding."""
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    text = data.decode("utf-16" if wide else "utf-8", "replace")
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise LutError("holds a NUL byte, so it is not a text file", file=file, line=line)
    return text
