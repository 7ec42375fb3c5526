"""ACES Metadata File (AMF): the record and its reader.

Source: the AMF specification, version 2 (S-2019-001 before), and its schema acesMetadataFile.xsd; version 1.0 too, whose
elements are the same. Only what a pipeline needs is taken: how the picture came to ACES2065-1, the looks in their order, the
output transform it was seen through. What a transform's id means is `aces_ids`'; whether a clip can have it is not for here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import unquote
from xml.etree.ElementTree import Element

from rushlight.pipelines.colour.aces_ids import SPACE, short
from rushlight.pipelines.colour.cdl import CDL, Triple, local_name, numbers_of, root_of, stated_cdl
from rushlight.pipelines.errors import GradeError

__all__ = ["AcesLook", "AcesMetadata", "AcesTransform", "parse_aces_metadata"]

VERSIONS = {"urn:ampas:aces:amf:v1.0": "1.0", "urn:ampas:aces:amf:v2.0": "2.0"}
_UUID = re.compile(r"urn:uuid:[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")


@dataclass(frozen=True, kw_only=True)
class AcesTransform:
    """One transform, as the file names it: by ids (two for a rendering and a device transform of ACES 1), a file or a UUID.

    `applied`: it is in the picture already and is not to be done again.
    """

    applied: bool = False
    ids: tuple[str, ...] = ()
    file: str = ""  # as written: a URI, relative to the AMF
    path: str = ""  # where that file is, once it was looked for
    uuid: str = ""
    inverse: bool = False  # an input that undoes an output transform: the picture was made for a display
    description: str = ""

    @property
    def name(self) -> str:
        """The transform in short, for a sentence."""
        return " + ".join(map(short, self.ids)) or self.file or self.uuid


@dataclass(frozen=True, kw_only=True)
class AcesLook:
    """One look, in its place: an ASC CDL and the space that it acts in, or a transform of another kind.

    `correction` and its file stand for a CDL that lies in another document. `to_space` and `from_space` are the conversions
    from ACES2065-1 into the CDL's space and back; the first may be left to be the inverse of the second.
    """

    applied: bool
    cdl: CDL | None = None
    correction: str = ""
    transform: AcesTransform | None = None  # None for a CDL written out
    to_space: AcesTransform | None = None
    from_space: AcesTransform | None = None
    description: str = ""

    @property
    def is_grade(self) -> bool:
        return self.from_space is not None


@dataclass(frozen=True, kw_only=True)
class AcesMetadata:
    """What an AMF says of a clip. `clip_names` are those by which it names the clip, none where it is for any clip.

    `archived` pipelines, the history of earlier versions, are counted and not read.
    """

    file: str = ""
    version: str = "2.0"
    uuid: str = ""
    description: str = ""
    clip_names: tuple[str, ...] = ()
    input: AcesTransform | None = None
    looks: tuple[AcesLook, ...] = ()
    output: AcesTransform | None = None
    archived: int = 0

    @property
    def pipeline(self) -> tuple[object, ...]:
        """What is to be done with the picture: where this is equal, two files mean one pipeline."""
        return self.input, self.looks, self.output

    @property
    def grades(self) -> tuple[AcesLook, ...]:
        """The CDLs that are to be applied, in order."""
        return tuple(look for look in self.looks if look.is_grade and not look.applied)

    @property
    def cdl(self) -> CDL | None:
        """The first CDL that is to be applied; None without one."""
        return next((look.cdl for look in self.grades), None)


def parse_aces_metadata(data: bytes, *, file: str = "") -> AcesMetadata:
    """The record of an AMF's bytes. GradeError naming the element for what is no AMF of version 1.0 or 2.0, or leaves open what
    is to be done: a transform without `applied` or without a name, a CDL without SOP, Sat or working space."""
    root = root_of(data, file=file)
    try:
        return _document(root, file)
    except GradeError as error:
        raise error.at(file=file) from None


def _document(root: Element, file: str) -> AcesMetadata:
    space = root.tag.partition("}")[0].lstrip("{") if root.tag.startswith("{") else ""
    if local_name(root.tag) != "acesMetadataFile" or space not in VERSIONS:
        found = f"<{local_name(root.tag)}> of namespace {space!r}" if space else f"<{local_name(root.tag)}>"
        raise GradeError(f"is no ACES Metadata File of version 1.0 or 2.0: it begins with {found[:120]}")
    info, pipeline = _one(root, "amfInfo"), _one(root, "pipeline")
    found_input, found_output = _child(pipeline, "inputTransform"), _child(pipeline, "outputTransform")
    looks = [n for n in pipeline if local_name(n.tag) == "lookTransform"]
    return AcesMetadata(
        file=file,
        version=VERSIONS[space],
        uuid=_text(info, "uuid"),
        description=_text(info, "description"),
        clip_names=_clip_names(_child(root, "clipId")),
        input=None if found_input is None else _input(found_input),
        looks=tuple(_look(node, f"lookTransform[{k}]", space) for k, node in enumerate(looks, 1)),
        output=None if found_output is None else _output(found_output),
        archived=sum(local_name(n.tag) == "archivedPipeline" for n in root),
    )


def _children(node: Element, name: str) -> list[Element]:
    return [n for n in node if local_name(n.tag) == name]


def _child(node: Element, name: str) -> Element | None:
    found = _children(node, name)
    if len(found) > 1:
        raise GradeError(f"holds {len(found)} of <{name}>, takes one", key=local_name(node.tag))
    return found[0] if found else None


def _one(node: Element, name: str) -> Element:
    found = _child(node, name)
    if found is None:
        raise GradeError(f"lacks <{name}>", key=local_name(node.tag))
    return found


def _text(node: Element, name: str) -> str:
    found = _child(node, name)
    return "" if found is None else (found.text or "").strip()


def _clip_names(node: Element | None) -> tuple[str, ...]:
    if node is None:
        return ()
    names = [_text(node, "clipName"), unquote(_text(node, "file"))]  # a URI
    sequence = _child(node, "sequence")
    if sequence is not None:
        mark = sequence.get("idx", "#") or "#"
        stem = (sequence.text or "").strip().partition(mark)[0]
        names.append(stem.rstrip("._-"))
    return tuple(dict.fromkeys(name for name in names if name))


def _applied(node: Element, key: str) -> bool:
    text = node.get("applied", "").strip()
    if text not in ("true", "1", "false", "0"):
        raise GradeError(
            f'states applied="true" (it is in the picture already) or "false"; found {text[:40]!r}', key=key
        )
    return text in ("true", "1")


def _named(node: Element, key: str) -> tuple[str, str, str]:
    """Id, file and UUID of a transform, of which one is there."""
    ident, file, uuid = (_text(node, name) for name in ("transformId", "file", "uuid"))
    if sum(map(bool, (ident, file, uuid))) != 1:
        raise GradeError("names its transform once, by <transformId>, <file> or <uuid>", key=key)
    if ident and not ident.startswith(SPACE):
        raise GradeError(
            f"takes an id that begins with {SPACE}; found {ident[:80]!r}", key=f"{key}.transformId"
        )
    if uuid and not _UUID.fullmatch(uuid):
        raise GradeError(f"takes urn:uuid: and 32 hex digits; found {uuid[:80]!r}", key=f"{key}.uuid")
    return ident, file, uuid


def _transform(node: Element, key: str, *, applied: bool | None = None) -> AcesTransform:
    ident, file, uuid = _named(node, key)
    return AcesTransform(
        applied=_applied(node, key) if applied is None else applied,
        ids=(ident,) if ident else (),
        file=file,
        uuid=uuid,
        description=_text(node, "description"),
    )


def _several(node: Element, names: tuple[str, ...], key: str, *, inverse: bool) -> AcesTransform:
    """A transform in parts, such as a rendering and a device transform of ACES 1."""
    parts = [_transform(_one(node, name), f"{key}.{name}", applied=False) for name in names]
    return AcesTransform(
        applied=_applied(node, key),
        ids=tuple(ident for part in parts for ident in part.ids),
        file=next((part.file for part in parts if part.file), ""),
        uuid=next((part.uuid for part in parts if part.uuid), ""),
        inverse=inverse,
        description=_text(node, "description"),
    )


def _has(node: Element, names: tuple[str, ...]) -> bool:
    return any(_children(node, name) for name in names)


def _input(node: Element) -> AcesTransform:
    for names in (
        ("inverseOutputTransform",),
        ("inverseOutputDeviceTransform", "inverseReferenceRenderingTransform"),
    ):
        if _has(node, names):
            return _several(node, names, "inputTransform", inverse=True)
    return _transform(node, "inputTransform")


def _output(node: Element) -> AcesTransform:
    names = ("referenceRenderingTransform", "outputDeviceTransform")
    if _has(node, names):
        return _several(node, names, "outputTransform", inverse=False)
    return _transform(node, "outputTransform")


def _look(node: Element, key: str, space: str) -> AcesLook:
    applied, description = _applied(node, key), _text(node, "description")
    working = _child(node, "cdlWorkingSpace")
    sop, sat = (_first(node, names) for names in (("SOPNode", "ASC_SOP"), ("SatNode", "ASC_SAT")))
    reference = _first(node, ("ColorCorrectionRef", "ASC_CC_XML"))
    if sop is None and sat is None and reference is None:
        if working is not None:
            raise GradeError("has a CDL's working space and no CDL", key=key)
        found = _transform(node, key)
        return AcesLook(applied=applied, transform=found, description=description)
    if working is None:
        raise GradeError("is a CDL without <cdlWorkingSpace>: what its numbers are over is not said", key=key)
    to_space = _child(working, "toCdlWorkingSpace")
    spaces = f"{key}.cdlWorkingSpace"
    cdl, correction, transform = None, "", None
    if reference is not None:
        correction = reference.get("ref", "").strip()
        if not correction or sop is not None or sat is not None:
            raise GradeError("takes either a CDL's numbers or a reference to one, with its `ref`", key=key)
        transform = AcesTransform(applied=applied, file=_text(node, "file"))
    else:
        cdl = _cdl(sop, sat, key, description)
    return AcesLook(
        applied=applied,
        cdl=cdl,
        correction=correction,
        transform=transform,
        to_space=None
        if to_space is None
        else _transform(to_space, f"{spaces}.toCdlWorkingSpace", applied=False),
        from_space=_transform(
            _one(working, "fromCdlWorkingSpace"), f"{spaces}.fromCdlWorkingSpace", applied=False
        ),
        description=description,
    )


def _first(node: Element, names: tuple[str, ...]) -> Element | None:
    found = [n for n in node if local_name(n.tag) in names]
    if len(found) > 1:
        raise GradeError(f"holds {len(found)} of <{names[0]}>, takes one", key=local_name(node.tag))
    return found[0] if found else None


def _cdl(sop: Element | None, sat: Element | None, key: str, description: str) -> CDL:
    if sop is None or sat is None:
        raise GradeError(
            f"is a CDL without <{'SOPNode' if sop is None else 'SatNode'}>; an AMF states both", key=key
        )
    triples: dict[str, Triple] = {}
    try:
        for name in ("Slope", "Offset", "Power"):
            red, green, blue = numbers_of(_text(sop, name), 3, name.lower())
            triples[name.lower()] = (red, green, blue)
        (saturation,) = numbers_of(_text(sat, "Saturation"), 1, "saturation")
        words = [description, *_descriptions(sop), *_descriptions(sat)]
        return stated_cdl(triples, saturation, description="; ".join(w for w in words if w))
    except GradeError as error:
        raise error.at(key=key) from None


def _descriptions(node: Element) -> Iterator[str]:
    yield from ((n.text or "").strip() for n in _children(node, "Description"))
