"""The ASC CDL v1.2: the record, the arithmetic, and its texts (XML and EDL comments).

Source: ASC Color Decision List, version 1.2 (2009-05-04): slope, offset and power a channel, then saturation
with Rec.709 luma weights whatever the gamut, values clamped to 0..1 after the offset and after the saturation.
The unclamped variant is the one ST 2136-1 (CLF) calls `FwdNoClamp`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.visible_text import visible

__all__ = [
    "CDL",
    "exact_numbers",
    "format_cc",
    "format_ccc",
    "format_cdl",
    "format_edl_comments",
    "local_name",
    "media_of",
    "numbers_of",
    "parse_cdl",
    "parse_edl_sat",
    "parse_edl_sop",
    "root_of",
    "stated_cdl",
]

LUMA = (0.2126, 0.7152, 0.0722)
NAMESPACE = "urn:ASC:CDL:v1.2"
Triple = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class CDL:
    """One colour decision. GradeError with key `slope`, `offset`, `power` or `saturation` if it is not a legal one."""

    slope: Triple = (1.0, 1.0, 1.0)  # factor, 0 or more
    offset: Triple = (0.0, 0.0, 0.0)  # code value, 0..1 scale
    power: Triple = (1.0, 1.0, 1.0)  # exponent, above 0
    saturation: float = 1.0  # 0 or more
    clamp: bool = True
    id: str = ""
    description: str = ""

    def __post_init__(self) -> None:
        for key in ("slope", "offset", "power"):
            values = tuple(float(v) for v in getattr(self, key))
            object.__setattr__(self, key, values)
            if len(values) != 3 or not all(math.isfinite(v) for v in values):
                raise GradeError(f"takes three numbers, found {_show(values)}", key=key)
        if min(self.slope) < 0:
            raise GradeError(f"slope is 0 or more, found {_show(self.slope)}", key="slope")
        if min(self.power) <= 0:
            raise GradeError(f"power is above 0, found {_show(self.power)}", key="power")
        object.__setattr__(self, "saturation", float(self.saturation))
        if not math.isfinite(self.saturation) or self.saturation < 0:
            raise GradeError(f"saturation is 0 or more, found {self.saturation:g}", key="saturation")

    @property
    def is_identity(self) -> bool:
        """True if it changes nothing between 0 and 1. (It still clamps, where it clamps.)"""
        return (self.slope, self.offset, self.power, self.saturation) == ((1, 1, 1), (0, 0, 0), (1, 1, 1), 1)

    def apply(self, rgb: ArrayLike) -> NDArray[np.float64]:
        """Graded values of `rgb` (..., 3), any range, in the space the decision was made in (a log signal).

        Clamping: result in 0..1; NaN and -inf give 0, +inf gives 1. Unclamped: negative values skip the power; NaN
        and infinities go by the arithmetic, so that one makes all three NaN where the saturation mixes them.
        """
        values = np.asarray(rgb, np.float64)
        if self.clamp:
            sop = self.sop(values)
            luma = sop @ np.array(LUMA)
            return np.clip(luma[..., None] + self.saturation * (sop - luma[..., None]), 0.0, 1.0)
        sop = self.sop(values)
        with np.errstate(invalid="ignore"):
            luma = sop @ np.array(LUMA)
            result: NDArray[np.float64] = luma[..., None] + self.saturation * (sop - luma[..., None])
        return result

    def sop(self, rgb: ArrayLike) -> NDArray[np.float64]:
        """Slope, offset and power only: the part that acts on each channel alone."""
        values = np.asarray(rgb, np.float64)
        power = np.array(self.power)
        with np.errstate(invalid="ignore", over="ignore"):
            linear = values * np.array(self.slope) + np.array(self.offset)
            if self.clamp:
                linear = np.clip(np.where(np.isnan(linear), 0.0, linear), 0.0, 1.0)
                result: NDArray[np.float64] = linear**power
                return result
            return np.where(linear > 0, np.abs(linear) ** power, linear)

    def numbers(self) -> str:
        """The numbers in short: `1.1 1 0.95 / 0.01 0 0 / 1 1 1 / sat 0.9`."""
        text = " / ".join(_show(v) for v in (self.slope, self.offset, self.power))
        return f"{text} / sat {self.saturation:.6g}" + ("" if self.clamp else " / unclamped")


def _show(values: Iterable[float]) -> str:
    return " ".join(f"{v:.6g}" for v in values)


def exact_numbers(values: Iterable[float]) -> str:
    """Numbers as text that, read back, gives the same ones."""
    return " ".join(repr(v + 0.0) if v != int(v) else f"{v:.1f}" for v in values)


def numbers_of(text: str, count: int, key: str) -> tuple[float, ...]:
    """So many numbers from the text of an element. GradeError with `key` for anything else."""
    parts = text.replace(",", " ").split()
    try:
        values = tuple(float(p) for p in parts)
    except ValueError:
        values = ()
    if len(values) != count or len(parts) != count:
        wanted = "three numbers" if count == 3 else "one number"
        raise GradeError(f"takes {wanted}, found {text.strip()[:80]!r}", key=key)
    return values


_NONE = CDL()


def stated_cdl(
    triples: Mapping[str, Triple], saturation: float | None = None, *, id: str = "", description: str = ""
) -> CDL:
    """A CDL by what is stated of it: `slope`, `offset` and `power` by name, and saturation; the rest does nothing."""
    none = _NONE
    return CDL(
        slope=triples.get("slope", none.slope),
        offset=triples.get("offset", none.offset),
        power=triples.get("power", none.power),
        saturation=none.saturation if saturation is None else saturation,
        id=id,
        description=description,
    )


# --- XML


def local_name(tag: object) -> str:
    """An element's name without its namespace; empty for a comment."""
    return tag.rsplit("}", 1)[-1] if isinstance(tag, str) else ""


def root_of(text: str | bytes, *, file: str = "") -> Element:
    """The first element of an XML document. GradeError for XML that is not well formed or declares entities."""
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(
            text.lstrip("\ufeff \t\r\n") if isinstance(text, str) else text.lstrip(b"\xef\xbb\xbf \t\r\n")
        )
    except DefusedXmlException as error:
        raise GradeError(
            f"is refused, for it declares entities or a document type: {error}", file=file
        ) from None
    except (ParseError, ValueError, LookupError) as error:
        raise GradeError(f"is not well-formed XML: {error}", file=file) from None
    return root


def parse_cdl(text: str | bytes, *, file: str = "") -> tuple[CDL, ...]:
    """Every ColorCorrection of a .cc, .ccc or .cdl document, in order.

    Namespaces v1.01, v1.2 and none; `SatNode` or `SATNode`; Descriptions anywhere; a missing node is identity.
    GradeError for XML that is not well formed or uses entities, for a document without a ColorCorrection, for
    `ASC_SOP`/`ASC_SAT` elements (which would be an unnoticed identity), and for numbers a CDL cannot have.
    """
    root = root_of(text, file=file)
    nodes = [node for node in root.iter() if local_name(node.tag) == "ColorCorrection"]
    if not nodes:
        raise GradeError(
            f"holds no ColorCorrection; found <{local_name(root.tag)}>, takes ColorCorrection, "
            "ColorCorrectionCollection or ColorDecisionList",
            file=file,
        )
    found = []
    for index, node in enumerate(nodes):
        ident = node.get("id", "")
        place = f"ColorCorrection[{ident or index}]"
        try:
            found.append(_correction(node, ident))
        except GradeError as error:
            raise error.at(file=file, key=place) from None
    return tuple(found)


def media_of(data: bytes) -> tuple[str, ...]:
    """The `ref` of the MediaRef beside each ColorCorrection of a ColorDecisionList that `parse_cdl` takes, in its order; empty
    where there is none (ASC CDL v1.2 section 5: a ColorDecision is of the media that its MediaRef names)."""
    from defusedxml.ElementTree import fromstring

    root = fromstring(data.lstrip(b"\xef\xbb\xbf \t\r\n"))
    refs = {
        id(part): next((n.get("ref", "") for n in decision if local_name(n.tag) == "MediaRef"), "")
        for decision in root.iter()
        if local_name(decision.tag) == "ColorDecision"
        for part in decision
    }
    return tuple(refs.get(id(node), "") for node in root.iter() if local_name(node.tag) == "ColorCorrection")


def _correction(node: Element, ident: str) -> CDL:
    triples: dict[str, Triple] = {}
    saturation: float | None = None
    descriptions = []
    for part in node.iter():
        name = local_name(part.tag)
        text = part.text or ""
        if name in ("ASC_SOP", "ASC_SAT"):
            raise GradeError(f"<{name}> is not an element of the ASC CDL; SOPNode and SatNode are", key=name)
        if name in ("Slope", "Offset", "Power"):
            if name.lower() in triples:
                raise GradeError("is stated twice", key=name.lower())
            red, green, blue = numbers_of(text, 3, name.lower())
            triples[name.lower()] = (red, green, blue)
        elif name == "Saturation":
            if saturation is not None:
                raise GradeError("is stated twice", key="saturation")
            saturation = numbers_of(text, 1, "saturation")[0]
        elif name == "Description" and text.strip():
            descriptions.append(text.strip())
    return stated_cdl(triples, saturation, id=ident, description="; ".join(descriptions))


def _body(cdl: CDL, indent: str, *, root: bool = False) -> str:
    space = f' xmlns="{NAMESPACE}"' if root else ""
    from xml.sax.saxutils import escape, quoteattr  # brings urllib and ssl with it

    ident = f" id={quoteattr(cdl.id)}" if cdl.id else ""
    lines = [f"<ColorCorrection{space}{ident}>"]
    lines.append("    <SOPNode>")
    if cdl.description:
        lines.append(f"        <Description>{escape(visible(cdl.description, lines=True))}</Description>")
    lines += [
        f"        <Slope>{exact_numbers(cdl.slope)}</Slope>",
        f"        <Offset>{exact_numbers(cdl.offset)}</Offset>",
        f"        <Power>{exact_numbers(cdl.power)}</Power>",
        "    </SOPNode>",
        "    <SatNode>",
        f"        <Saturation>{exact_numbers((cdl.saturation,))}</Saturation>",
        "    </SatNode>",
        "</ColorCorrection>",
    ]
    return "".join(f"{indent}{line}\n" for line in lines)


_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'


def format_cc(cdl: CDL) -> str:
    """A .cc document."""
    return _HEAD + _body(cdl, "", root=True)


def format_ccc(cdls: Iterable[CDL]) -> str:
    """A .ccc document: ColorCorrectionCollection."""
    inner = "".join(_body(c, "    ") for c in cdls)
    return f'{_HEAD}<ColorCorrectionCollection xmlns="{NAMESPACE}">\n{inner}</ColorCorrectionCollection>\n'


def format_cdl(cdls: Iterable[CDL]) -> str:
    """A .cdl document: ColorDecisionList."""
    inner = "".join(f"    <ColorDecision>\n{_body(c, '        ')}    </ColorDecision>\n" for c in cdls)
    return f'{_HEAD}<ColorDecisionList xmlns="{NAMESPACE}">\n{inner}</ColorDecisionList>\n'


# --- EDL comments

_SOP = re.compile(r"\*?\s*ASC_SOP\s*:?\s*(?P<body>.*)", re.IGNORECASE | re.DOTALL)
_SAT = re.compile(r"\*?\s*ASC_SAT\s*:?\s*(?P<body>.*)", re.IGNORECASE | re.DOTALL)


def parse_edl_sop(text: str) -> tuple[Triple, Triple, Triple] | None:
    """Slope, offset and power of an `* ASC_SOP` comment; None if it is another comment; GradeError if malformed."""
    match = _SOP.fullmatch(text.strip())
    if not match:
        return None
    groups = re.fullmatch(r"\(([^()]*)\)\s*,?\s*\(([^()]*)\)\s*,?\s*\(([^()]*)\)", match["body"].strip())
    if not groups:
        raise GradeError(
            f"ASC_SOP takes (s s s)(o o o)(p p p), found {match['body'].strip()[:80]!r}", key="ASC_SOP"
        )
    slope, offset, power = (
        numbers_of(groups[k], 3, key) for k, key in ((1, "slope"), (2, "offset"), (3, "power"))
    )
    CDL(slope=slope, offset=offset, power=power)  # type: ignore[arg-type]
    return slope, offset, power  # type: ignore[return-value]


def parse_edl_sat(text: str) -> float | None:
    """Saturation of an `* ASC_SAT` comment; None if it is another comment; GradeError if malformed."""
    match = _SAT.fullmatch(text.strip())
    if not match:
        return None
    (value,) = numbers_of(match["body"].strip().strip("()"), 1, "saturation")
    return CDL(saturation=value).saturation


def format_edl_comments(cdl: CDL) -> str:
    """The two comment lines of an EDL event."""
    groups = "".join(f"({exact_numbers(v)})" for v in (cdl.slope, cdl.offset, cdl.power))
    return f"* ASC_SOP: {groups}\n* ASC_SAT: {exact_numbers((cdl.saturation,))}\n"
