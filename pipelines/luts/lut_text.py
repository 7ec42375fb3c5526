"""Faults in the text of LUT files that their readers take silently, each with its line.

OpenColorIO reads `nan` and decimal commas as 0, leaves out nodes that it does not know, and an IndexMap in CLF 3; it follows
references to other files. What a file says and nobody does is a wrong picture, so it is refused here.
"""

from __future__ import annotations

import math
import re
from itertools import pairwise
from xml.parsers import expat

from rushlight.pipelines.errors import LutError

__all__ = ["check_rows", "check_xml", "narrow_range_lines"]

_HEADS = {".spi1d": "Version 1", ".spi3d": "SPILUT 1.0", ".csp": "CSPLUTV100"}
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_NOTES = ("Description", "InputDescriptor", "OutputDescriptor", "Info")
_NODES = ("LUT1D", "LUT3D", "Matrix", "Range", "Log", "Exponent", "ASC_CDL")
_CTF_NODES = (
    *("Gamma", "InverseLUT1D", "InverseLUT3D", "ExposureContrast", "FixedFunction", "ACES"),
    *("GradingPrimary", "GradingRGBCurve", "GradingTone", "GradingHueCurve"),
)
_INTERPOLATIONS = ("", "default", "linear", "trilinear", "tetrahedral")
_NUMERIC = (
    *("minInValue", "maxInValue", "minOutValue", "maxOutValue"),
    *("Slope", "Offset", "Power", "Saturation"),
)


def narrow_range_lines(text: str) -> list[tuple[int, str]]:
    """Lines of a .cube, with their numbers, whose keyword says that the LUT takes or gives narrow range: that has no place in
    the specification, and readers leave it out."""
    word = re.compile(
        r"[A-Z0-9_]*(?:VIDEO|LEGAL|NARROW|LIMITED|SMPTE)_?(?:RANGE|LEVELS?)[A-Z0-9_]*", re.IGNORECASE
    )
    no = re.compile(r"\s(?:0|no|off|false|full)\s*$", re.IGNORECASE)
    return [
        (number, " ".join(line.split())[:80])
        for number, line in enumerate(text.splitlines(), 1)
        if word.match(line.strip()) and not no.search(line)
    ]


def check_rows(text: str, suffix: str, *, file: str = "") -> None:
    """LutError with its line for a .spi1d, .spi3d or .csp whose first line is another format's, or that has something else than
    finite numbers with a decimal point where numbers stand; points given twice, or beyond the size; inputs that do not rise."""
    lines = text.splitlines()
    first = next((n for n, line in enumerate(lines) if line.strip()), 0)
    if not lines or " ".join(lines[first].split()).lower() != _HEADS[suffix].lower():
        found = lines[first].strip()[:40] if lines else ""
        raise LutError(
            f"begins with {found!r}; a {suffix} begins with {_HEADS[suffix]!r}", file=file, line=first + 1
        )
    rows: list[_Row] = []
    inside_notes = False
    for number, line in enumerate(lines[first + 1 :], first + 2):
        words = line.split()
        if suffix == ".csp" and words[:2] in (["BEGIN", "METADATA"], ["END", "METADATA"]):
            inside_notes = words[0] == "BEGIN"
        elif words and not inside_notes and words[0][0] not in "#{}":
            named = words[0] in ("1D", "3D", "From", "Length", "Components")
            _check_numbers(words[named:], number, file)
            rows.append((number, words[0] if named else "", words[named:]))
    {".spi1d": _check_spi1d, ".spi3d": _check_spi3d, ".csp": _check_csp}[suffix](rows, file)


_Row = tuple[int, str, list[str]]  # number of a line, its keyword, its numbers


def _check_spi1d(rows: list[_Row], file: str) -> None:
    for line, keyword, words in rows:
        if keyword == "From" and len(words) == 2 and float(words[0]) >= float(words[1]):
            raise LutError("its input goes down or nowhere", file=file, line=line, key="From")


def _check_spi3d(rows: list[_Row], file: str) -> None:
    size = rows[1][2] if len(rows) > 1 else []
    points: set[tuple[str, ...]] = set()
    for line, _, words in rows[2:]:
        point = tuple(words[:3])
        if point in points:
            raise LutError(f"has the point {' '.join(point)} twice", file=file, line=line)
        if len(size) != 3 or any(
            float(place) >= float(count) for place, count in zip(point, size, strict=False)
        ):
            raise LutError(f"has the point {' '.join(point)}, beyond its size", file=file, line=line)
        points.add(point)


def _check_csp(rows: list[_Row], file: str) -> None:
    """Three curves of a count, inputs and outputs; then the size and as many rows as it says."""
    for (line, _, inputs), channel in zip(rows[2:11:3], ("red", "green", "blue"), strict=False):
        values = [float(word) for word in inputs]
        if any(a >= b for a, b in pairwise(values)):
            raise LutError(f"the inputs of its {channel} curve do not rise", file=file, line=line)
    if len(rows) > 10:
        count = math.prod(int(float(word)) for word in rows[10][2])
        if len(rows) > 11 + count:
            raise LutError(f"has more rows than its size says ({count})", file=file, line=rows[11 + count][0])


def _check_numbers(words: list[str], line: int, file: str) -> None:
    for word in words:
        if not _NUMBER.fullmatch(word) or not math.isfinite(float(word)):
            comma = (
                "; numbers have a decimal point, not a comma" if re.fullmatch(r"[-+]?\d+,\d+", word) else ""
            )
            raise LutError(f"takes finite numbers, found {word[:40]!r}{comma}", file=file, line=line)


def check_xml(data: bytes, suffix: str, *, file: str = "") -> None:
    """LutError with its line for a CLF or CTF text that is cut off, is another document, names another file, or says what readers
    leave out: unknown nodes, an IndexMap in CLF 3, bypassed nodes, numbers that are none."""
    reader = _Xml(suffix, file)
    try:
        reader.parser.Parse(data, True)
    except expat.ExpatError as error:
        raise LutError(
            f"is not whole XML, it may be cut off: {expat.ErrorString(error.code)}",
            file=file,
            line=error.lineno,
        ) from None
    except (LookupError, ValueError) as error:  # of the encoding that its first line states
        raise LutError(f"is not XML that can be read: {error}", file=file, line=1) from None
    if not reader.nodes:
        raise LutError("has no node: nothing that acts on a picture", file=file)


class _Xml:
    def __init__(self, suffix: str, file: str) -> None:
        self.suffix, self.file = suffix, file
        self.path: list[str] = []
        self.nodes = 0
        self.no_map = True  # readers leave an IndexMap out
        self.half = False
        self.parser = expat.ParserCreate()
        self.parser.StartDoctypeDeclHandler = self.doctype
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.text

    def fault(self, text: str) -> LutError:
        return LutError(text, file=self.file, line=self.parser.CurrentLineNumber)

    def doctype(self, *_: object) -> None:
        raise self.fault("has a DOCTYPE, which a LUT needs not and which can name other files; take it out")

    def start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.rpartition(":")[2]
        if not self.path:
            self.root(name, attributes)
        elif len(self.path) == 1 and name not in _NOTES:
            self.node(name, attributes)
        elif name == "IndexMap" and self.no_map:
            raise self.fault(
                "has an IndexMap, which readers of a CLF 3 or a CTF leave out; state the range in a Range node ahead of the LUT"
            )
        elif name in ("LogParams", "ExponentParams"):
            numbers = [value for key, value in attributes.items() if key not in ("channel", "style")]
            _check_numbers(" ".join(numbers).split(), self.parser.CurrentLineNumber, self.file)
        self.path.append(name)

    def root(self, name: str, attributes: dict[str, str]) -> None:
        if name != "ProcessList":
            raise self.fault(f"is a {name[:40]!r} document; a {self.suffix} is a ProcessList")
        self.no_map = not 0 < _version(attributes.get("compCLFversion", "")) < 3

    def node(self, name: str, attributes: dict[str, str]) -> None:
        known = _NODES if self.suffix == ".clf" else (*_NODES, *_CTF_NODES)
        if name == "Reference":
            raise self.fault("takes in another file by a Reference; give one file that holds it all")
        if name not in known:
            raise self.fault(f"has a node {name[:40]!r}; of a {self.suffix} {', '.join(known)} are read")
        if attributes.get("bypass", "false").lower() not in ("false", "0"):
            raise self.fault(
                f"has a {name} that is to be bypassed, which readers do not do; take the node out"
            )
        if attributes.get("interpolation", "") not in _INTERPOLATIONS:
            raise self.fault(
                f"asks for {attributes['interpolation'][:40]!r} interpolation; linear and tetrahedral are done"
            )
        self.half = attributes.get("halfDomain", "").lower() == "true"
        self.nodes += 1

    def end(self, name: str) -> None:
        self.path.pop()

    def text(self, text: str) -> None:
        inside = self.path[-1] if self.path else ""
        if (inside == "Array" and not self.half) or inside in _NUMERIC:
            _check_numbers(text.split(), self.parser.CurrentLineNumber, self.file)


def _version(text: str) -> float:
    found = re.match(r"\s*(\d+(?:\.\d+)?)", text)
    return float(found[1]) if found else 0.0
