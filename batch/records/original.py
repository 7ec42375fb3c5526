"""The original as a record has it: what it is, how it was read, and what was seen in its pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from rushlight.batch.records.shape import Count, FrameRun, Number, Shape, Whole
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.originals.camera_header import camera_line

__all__ = [
    "DAMAGED",
    "CameraFact",
    "CameraFacts",
    "Counts",
    "Damage",
    "Levels",
    "ManifestCheck",
    "Original",
    "Pushed",
    "Signal",
    "Source",
    "ToCompare",
    "damage_said",
    "facts_text",
]

DAMAGED = "delivered with "  # begins a warning of frames that did not decode cleanly

Levels = Annotated[str, Field(description="Levels: narrow (64 to 940 in ten bits) or full (0 to 1023).")]


class ManifestCheck(Shape):
    """The original against the hash manifests that were given with the list (`--manifest`)."""

    verdict: Literal[
        "matches",
        "differs",
        "not in the manifest",
        "no usable hash",
        "cannot be read",
        "missing",
        "not compared yet",
    ] = Field(
        description="matches: size and hash of every file are the manifest's; differs; not in the manifest; no usable hash;"
        " cannot be read; missing; not compared yet (in a plan). Only the first says that it was verified."
    )
    text: str = Field(default="", description="Finding in words.")
    manifest: str = Field(default="", description="Manifest that states it.")
    kind: str = Field(
        default="", description="Kind of hash that was compared, of an original that is one file."
    )
    hash: str = Field(default="", description="Hash in the manifest.")
    found: str = Field(default="", description="Hash of the original.")

    @property
    def sentence(self) -> str:
        """The verdict and the finding, as people are told them."""
        return f"{self.verdict}{f': {self.text}' if self.text else ''}"


class ToCompare(Shape):
    """A file of an original whose hash is to be compared before it is rendered."""

    path: str = Field(description="Absolute path, as the runner sees it.")
    bytes: Whole = Field(description="Size that it had when it was planned, which is the manifest's.")
    kind: str = Field(description="Kind of hash, as the manifest names it.")
    hash: str = Field(description="Hash in the manifest.")
    manifest: str = Field(description="Manifest that states it.")
    note: str = Field(default="", description="Finding on its name, in words.")


class Source(Shape):
    """Original of a clip, as it was opened."""

    path: str = Field(default="", description="Path of the original: absolute, as the runner saw it.")
    files: list[str] = Field(
        default=[],
        description="Its files in order, where they lie in several folders: `path` leads to some of them.",
    )
    bytes: Whole = Field(default=0, description="Size of the original, in bytes.")
    mtime_ns: Whole = Field(default=0, description="Time of last change, in nanoseconds since 1970.")
    hash: str = Field(
        default="", description="Hash of the original, `ALGORITHM:HEX`: of its ends, or of all of it."
    )
    sampled: str = Field(default="", description="Hash of the original's ends, `ALGORITHM:HEX`.")
    mended: list[FrameRun] = Field(
        default=[],
        description="Runs of its frames (first and last number) that did not decode in an earlier copy of it and do in this one,"
        " whose ends are the same; as far as they were looked at.",
    )
    manifest: ManifestCheck | None = Field(
        default=None, description="Verdict against its hash manifest; null where none was given."
    )
    codec: str = Field(default="", description="Codec of its pictures.")
    width: Count = Field(default=0, description="Width of its pictures, in pixels.")
    height: Count = Field(default=0, description="Height of its pictures, in pixels.")
    pixel_format: str = Field(default="", description="Pixel format as stored, by FFmpeg's name.")
    frames: Count = Field(default=0, description="Number of frames in the original.")
    header: Mapping[str, str] = Field(
        default={},
        description="What its header states, by its own keys: at most 120 of them, long values cut. Empty of older versions.",
    )


class CameraFact(Shape):
    """A fact of the camera."""

    value: str = Field(description="As the list has it, or as the header's value reads.")
    said_by: str = Field(
        description="Who says so: the list, a table, or the original's header with the key there."
    )


CameraFacts = Annotated[
    Mapping[str, CameraFact],
    Field(
        description="Facts of the camera by name: camera_make, camera_model, camera_serial, lens, lens_serial, focal_length,"
        " aperture, t_stop, iso, wb, tint, shutter. A row's cell beats the header; what nobody states is left out."
    ),
]


class Signal(Shape):
    """Encoding and levels by which the original was read, and who stated them."""

    encoding: str = Field(default="", description="Camera encoding: curve/gamut.")
    encoding_from: str = Field(default="", description="Where the encoding was stated.")
    levels: Levels = ""
    levels_from: str = Field(default="", description="Where the levels were stated.")


class Original(Shape):
    """Measurements of the original's pictures: the yardstick for warnings about delivered ones. Empty if none."""

    black: list[FrameRun] = Field(
        default=[], description="Runs of black frames: first and last, counted from 0 in the clip."
    )
    repeated: list[FrameRun] = Field(default=[], description="Runs of frames that repeat the one before.")
    held: list[FrameRun] = Field(default=[], description="Runs of frames that are missing in the original.")
    clipped: Number | None = Field(
        default=None,
        description="Share of pixels at the picture's maximum, 0 to 1, in the mean of sampled frames.",
    )

    @property
    def seen(self) -> bool:
        """False where nothing was seen of the original's pictures."""
        return "black" in self.model_fields_set

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.model_fields_set and not {"black", "repeated", "held"} <= self.model_fields_set:
            raise ValueError("lacks one of black, repeated and held")
        return self


class Damage(Shape):
    """A frame of the original that did not decode cleanly."""

    frame: Whole = Field(description="Frame number in the original.")
    timecode: str = Field(default="", description="Timecode of the frame.")
    what: str = Field(default="", description="Damage in words.")
    lost: bool = Field(default=False, description="Whether nothing of the frame could be shown.")
    revision: Count = Field(
        default=0,
        description="Revision in which it was found; 0: the record's own. Files made since do not show it.",
    )


def damage_said(damage: Sequence[Damage]) -> list[str]:
    """The sentence on frames that did not decode cleanly; none where all did."""
    if not damage:
        return []
    places = [each.timecode for each in damage if each.timecode]
    where = f": {shortened(places, 6)}" if places else ""
    return [f"{DAMAGED}{counted(len(damage), 'damaged frame')}{where}"]


class Pushed(Shape):
    """Pixels that exposure, white balance and printer points push out of 0..1, counted on a grid."""

    over: Whole = Field(default=0, description="Pixels pushed above 1.")
    under: Whole = Field(default=0, description="Pixels pushed below 0.")
    pixels: Whole = Field(default=0, description="Pixels that were looked at.")


class Counts(Shape):
    """Pixels outside 0..1 of the camera's signal, over all frames."""

    over: Whole = Field(default=0, description="Pixels above 1.")
    under: Whole = Field(default=0, description="Pixels below 0.")
    outside: Whole = Field(default=0, description="Pixels outside what the look's table spans.")
    pixels: Whole = Field(default=0, description="Pixels that were looked at.")
    pushed: Pushed | None = Field(default=None, description="What corrections push out of 0..1.")


def facts_text(facts: Mapping[str, CameraFact]) -> str:
    """The facts of a camera in a line: `Halden H7 no. 0042; Norrin 35 mm; f/2.8; ISO 800; 5600K, tint +3; 172.8°`."""
    said = {name: fact.value for name, fact in facts.items()}
    lens, length = said.get("lens", ""), said.get("focal_length", "")
    lens = " at ".join(part for part in (lens, "" if length and length in lens else length) if part)
    serial = f" no. {said['lens_serial']}" if "lens_serial" in said else ""
    parts = [camera_line(said), f"{lens}{serial}".strip(), said.get("t_stop") or said.get("aperture", "")]
    iso, tint = said.get("iso", ""), said.get("tint", "")
    parts.append(f"ISO {iso}" if iso[:1].isdigit() else iso)
    parts.append(", ".join(part for part in (said.get("wb", ""), f"tint {tint}" if tint else "") if part))
    parts.append(said.get("shutter", ""))
    return "; ".join(part for part in parts if part)
