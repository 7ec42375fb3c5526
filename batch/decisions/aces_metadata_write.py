"""ACES Metadata Files (AMF) of looks, for other systems: `aces_documents` is the door, for whoever hands grades on.

Source: the AMF specification, version 2, and its schema acesMetadataFile.xsd; names of transforms are `aces_ids`'. Said is only what
is true of the look: the camera's conversion (of an encoding without an id as a CLF), exposure and white balance as a look file ahead
of the grade (CLF, ACES2065-1 to ACES2065-1), the CDL in the space that it acts in, and ACES 2.0's output transform. What an AMF has no words for, above all a show LUT
from log to display, stands in the description and in `unsaid`. A document's UUID is a function of what it says.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import PurePath
from urllib.parse import quote
from uuid import UUID, uuid5
from xml.etree.ElementTree import Element, SubElement

from rushlight.pipelines.colour.aces_ids import conversion_ids, output_id
from rushlight.pipelines.colour.camera_encodings import Encoding, find_encoding
from rushlight.pipelines.colour.cdl import CDL, exact_numbers
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.luts.scene_conversion import clf_of_conversion, clf_of_matrix
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.portable_name import safe_name
from rushlight.pipelines.visible_text import visible

__all__ = [
    "AcesClip",
    "AcesDocument",
    "LookFile",
    "aces_clip",
    "aces_documents",
    "same_document",
    "unsaid_of",
]

_AMF, _CDL = "urn:ampas:aces:amf:v2.0", "urn:ASC:CDL:v1.01"
_SPACE = UUID("5b0c4a3e-7f0b-5d0e-9a1f-2d6c8b1e4f70")  # of the UUIDs made here
LookFile = tuple[str, str]  # name, text
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
_TIMES = re.compile(r"(<aces:(creation|modification)DateTime>)[^<]*")


@dataclass(frozen=True, kw_only=True)
class AcesClip:
    """How an AMF names its clip: the clip's name, and the original's file or, with first and last number, its sequence.

    `levels` are those of the original, narrow or full; an AMF has no element for them.
    """

    name: str
    original: str = ""
    numbers: tuple[int, int] | None = None
    levels: str = ""


@dataclass(frozen=True, kw_only=True)
class AcesDocument:
    """An AMF, the files that it names, by name, and what it cannot say of the look, in sentences."""

    text: str
    files: dict[str, str] = field(default_factory=dict)
    unsaid: tuple[str, ...] = ()


def aces_clip(name: str, facts: Facts, levels: str = "") -> AcesClip:
    """A clip as an AMF names it, by its original's header; a sequence by its files' common name and numbers."""
    file = facts.files[0].name if facts.files else facts.path.name
    found = re.search(r"\d+(?=\D*$)", PurePath(file).stem)
    if facts.kind == "movie" or not found or int(found[0]) != facts.first_number:
        return AcesClip(name=name, original=facts.path.name, levels=levels)
    pattern = f"{file[: found.start()]}{'#' * len(found[0])}{file[found.end() :]}"
    last = facts.first_number + facts.frames - 1
    return AcesClip(name=name, original=pattern, numbers=(facts.first_number, last), levels=levels)


def aces_documents(
    look: Look, clip: AcesClip | None, *, made: datetime.datetime, look_file: LookFile | None = None
) -> AcesDocument:
    """The AMF of a look for a clip, or with None for any clip that is shot so. `made` is its time, with a zone; `look_file` the
    name and text of the show LUT's file, which is named where the LUT is an ACES look.

    Its text is valid by the schema of version 2.0. Only dates change where it is made again of the same look and clip.
    """
    unsaid = tuple(unsaid_of(look, look_file))
    levels = [f"Levels of the original: {clip.levels}."] if clip and clip.levels else []
    words = " ".join([f"Look: {look.describe()}.", f"Look digest {look.digest()}.", *levels, *unsaid])
    identity = f"{clip}\n{words}\n{look.cdl}"
    utc = made.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    root = Element(f"{{{_AMF}}}acesMetadataFile", version="2.0")
    _info(_child(root, "amfInfo"), words, utc, _uuid("document", identity))
    if clip:
        _clip_id(_child(root, "clipId"), clip)
    pipeline = _child(root, "pipeline")
    info = _child(pipeline, "pipelineInfo")
    _info(info, "", utc, _uuid("pipeline", identity))
    version = _child(info, "systemVersion")
    for name, digit in (("majorVersion", "2"), ("minorVersion", "0"), ("patchVersion", "0")):
        _child(version, name, digit)
    files = _pipeline(pipeline, look, look_file)
    return AcesDocument(text=_text(root), files=files, unsaid=unsaid)


def same_document(first: str, second: str) -> bool:
    """True if two documents say the same, whenever each was made."""
    return _TIMES.sub(r"\1", first) == _TIMES.sub(r"\1", second)


def _text(root: Element) -> str:
    from xml.etree import ElementTree

    for prefix, space in (("aces", _AMF), ("cdl", _CDL)):
        ElementTree.register_namespace(prefix, space)
    ElementTree.indent(root)
    return f"{_HEAD}{ElementTree.tostring(root, encoding='unicode')}\n"


def _child(parent: Element, name: str, text: str = "", *, space: str = _AMF, **attributes: str) -> Element:
    child = SubElement(parent, f"{{{space}}}{name}", attributes)
    child.text = visible(text) or None
    return child


def _uuid(*parts: str) -> str:
    return f"urn:uuid:{uuid5(_SPACE, visible(chr(10).join(parts), lines=True))}"


def _uri(name: str) -> str:
    return quote(visible(name), safe="")


def _info(info: Element, description: str, utc: str, uuid: str) -> None:
    if description:
        _child(info, "description", description)
    times = _child(info, "dateTime")
    _child(times, "creationDateTime", utc)
    _child(times, "modificationDateTime", utc)
    _child(info, "uuid", uuid)


def _clip_id(node: Element, clip: AcesClip) -> None:
    _child(node, "clipName", clip.name)
    if clip.numbers:
        first, last = map(str, clip.numbers)
        _child(node, "sequence", clip.original, idx="#", min=first, max=last)
    elif clip.original:
        _child(node, "file", _uri(clip.original))
    else:
        _child(node, "uuid", _uuid("clip", clip.name))


def _pipeline(pipeline: Element, look: Look, look_file: LookFile | None) -> dict[str, str]:
    """Add the transforms of a look, in order; gives the files that they name."""
    files: dict[str, str] = {}
    if look.encoding.name != "ACES2065-1":
        node = _child(pipeline, "inputTransform", applied="false")
        _child(node, "description", _named(look.encoding))
        _conversion(node, look.encoding, files)
    if look.exposure or look.white_balance:
        name, text = _correction(look)
        files[name] = text
        _look_file(pipeline, "Exposure and white balance, ahead of the grade", name)
    if look.cdl and look.grade_order == "before":
        _grade(_child(pipeline, "lookTransform", applied="false"), look.cdl, _grade_space(look), files)
    if look_file and _is_aces_look(look):
        name, text = look_file
        files[name] = text
        _look_file(pipeline, "Look after the grade", name)
    if look.transform == "aces2" and _said(look, look_file) and (ident := output_id(look.display)):
        node = _child(pipeline, "outputTransform", applied="false")
        _child(node, "description", f"ACES 2.0, {look.display.name}")
        _child(node, "transformId", ident)
    return files


def _look_file(pipeline: Element, description: str, name: str) -> None:
    node = _child(pipeline, "lookTransform", applied="false")
    _child(node, "description", description)
    _child(node, "file", _uri(name))


def _is_aces_look(look: Look) -> bool:
    """True if the show LUT is from ACES2065-1 to ACES2065-1, as an AMF takes look files."""
    show = look.show_lut
    if show is None or not (show.encoding and show.scene):
        return False
    return {show.encoding.name, show.scene.name} == {"ACES2065-1"} and (
        show.input_levels == show.output_levels == "full"
    )


def _said(look: Look, look_file: LookFile | None) -> bool:
    """True if everything between the grade and the output transform is in the AMF."""
    return look.show_lut is None or bool(look_file and _is_aces_look(look))


def _named(encoding: Encoding) -> str:
    return encoding.name + (f" EI {encoding.exposure_index}" if encoding.exposure_index else "")


def _conversion(node: Element, encoding: Encoding, files: dict[str, str]) -> None:
    """Name the conversion of an encoding to ACES2065-1: by the registry's id, else as a CLF."""
    if ids := conversion_ids(encoding):
        _child(node, "transformId", ids.to_aces)
        return
    name = f"{safe_name(_named(encoding).replace('/', ' '))} to ACES2065-1.clf"
    if name not in files:
        ident = _uuid("conversion", _named(encoding))
        files[name] = clf_of_conversion(encoding, ident=ident, name=_named(encoding))
    _child(node, "file", _uri(name))


def _grade_space(look: Look) -> Encoding:
    return find_encoding("ACEScct") if look.cdl_space == "ACEScct" else look.working


def _grade(node: Element, cdl: CDL, space: Encoding, files: dict[str, str]) -> None:
    clamp = "" if cdl.clamp else ", not clamped"
    _child(node, "description", f"ASC CDL in {_named(space)}{clamp}")
    working = _child(node, "cdlWorkingSpace")
    if ids := conversion_ids(space):  # of a file the way there is the inverse of the way back
        _child(_child(working, "toCdlWorkingSpace"), "transformId", ids.from_aces)
    _conversion(_child(working, "fromCdlWorkingSpace"), space, files)
    sop, sat = (_child(node, name, space=_CDL) for name in ("SOPNode", "SatNode"))
    if cdl.description:
        _child(sop, "Description", cdl.description, space=_CDL)
    for name, values in (("Slope", cdl.slope), ("Offset", cdl.offset), ("Power", cdl.power)):
        _child(sop, name, exact_numbers(values), space=_CDL)
    _child(sat, "Saturation", exact_numbers((cdl.saturation,)), space=_CDL)


def _correction(look: Look) -> tuple[str, str]:
    """Name and text of a CLF: exposure and white balance as a matrix over ACES2065-1."""
    matrix = look.correction_in_aces()
    ident = _uuid("correction", *(exact_numbers(map(float, row)) for row in matrix))
    return f"correction {ident[9:17]}.clf", clf_of_matrix(matrix, ident=ident, name=_correction_words(look))


def _correction_words(look: Look) -> str:
    parts = [f"exposure {look.exposure:+g} stops"] if look.exposure else []
    if look.white_balance:
        parts.append("white x {:.4f} y {:.4f}".format(*look.white_balance))
    return ", ".join(parts)


def unsaid_of(look: Look, look_file: LookFile | None = None) -> Sequence[str]:
    """What a look has and an AMF has no words for, in sentences. `look_file` is that of its show LUT, if it is at hand."""
    found = []
    if look.printer_points:
        points = "{:+g} {:+g} {:+g}".format(*look.printer_points)
        found.append(f"Printer points {points} act ahead of the grade and are not in this file.")
    if look.cdl and look.grade_order == "after":
        found.append(
            f"The grade acts on the signal of {look.display.name}, after the show transform: "
            "an AMF has no place for it, so it is not in this file."
        )
    elif look.cdl and not look.cdl.clamp:
        found.append("The grade is not clamped to 0..1, which an AMF cannot say.")
    if look.show_lut and not _said(look, look_file):
        digest, way = look.show_lut.lut.digest(), "from a camera's signal to a display"
        if look.show_lut.scene:
            way = f"from {(look.show_lut.encoding or look.working).name} to {look.show_lut.scene.name}"
        found.append(
            f'Show LUT "{look.show_lut.name}" ({digest[:15]}) leads {way}, which is no ACES look: '
            f"it is not in this file, and neither is an output transform; hand on the LUT for {look.display.name} beside it."
        )
    elif look.transform != "aces2":
        shown = {"colorimetric": "without tone mapping", "none": "as it is"}[look.transform]
        found.append(
            f"The picture is shown {shown} on {look.display.name}, which is no ACES output transform: none is in this file."
        )
    elif not output_id(look.display):
        found.append(
            f"ACES has no transform id for {look.display.name}, so there is no output transform in this file."
        )
    return found
