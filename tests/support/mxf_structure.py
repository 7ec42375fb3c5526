"""MXF packages as pyaaf2 reads them: an independent reader of the structure, where FFmpeg is one of the samples."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest


@dataclass(frozen=True, kw_only=True)
class Package:
    """A package: `kind` is material, file or tape; `refers` are the packages that its tracks lead to."""

    kind: str
    name: str
    umid: str
    timecode: tuple[int, int, bool]  # first frame, nominal rate, drop-frame
    refers: frozenset[str]
    comments: dict[str, str]


@dataclass(frozen=True, kw_only=True)
class Structure:
    pattern: str  # "OP1a"
    packages: dict[str, Package]  # by kind
    essence: str  # UMID of the file package that the essence says it is of


def structure(path: Path) -> Structure:
    """All that links a file with its clip and its reel."""
    pytest.importorskip("aaf2", reason="the independent reader of MXF, pyaaf2, is not installed")
    from aaf2.mxf import MXFFile

    file = MXFFile(str(path))
    found = [_package(package) for package in file.packages()]
    assert len({p.kind for p in found}) == len(found), "one package of each kind"
    (essence,) = file.content.iter_strong_refs("EssenceContainerData")
    return Structure(
        pattern=file.operation_pattern,
        packages={p.kind: p for p in found},
        essence=str(essence.data["MobID"]),
    )


def _package(package: Any) -> Package:
    kinds = {"MXFMaterialPackage": "material", "MXFSourcePackage": "file"}
    kind = kinds[type(package).__name__]
    if kind == "file" and type(package.resolve_ref("Descriptor")).__name__ == "MXFTapeDescriptor":
        kind = "tape"
    refers: set[str] = set()
    timecode = (-1, 0, False)
    for track in package.iter_strong_refs("Slots"):
        for component in track.resolve_ref("Segment").iter_strong_refs("Components"):
            data = component.data
            if "Start" in data:
                timecode = (data["Start"], data["FPS"], bool(data["Drop"]))
            elif "SourceID" in data:
                refers.add(str(data["SourceID"]))
    comments = {
        tag.data["Name"]: tag.data["Value"]
        for tag in (package.iter_strong_refs("UserComments") if "UserComments" in package.data else ())
    }
    return Package(
        kind=kind,
        name=package.data.get("Name", ""),
        umid=str(package.mob_id),
        timecode=timecode,
        refers=frozenset(refers),
        comments=comments,
    )
