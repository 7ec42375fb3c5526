"""Verdicts of `verify`, as `log/verify.json` has them and `verify --json` prints them; and those of `check --json`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Final, Literal

from pydantic import Field

from rushlight.batch.records.shape import Count, Number, Shape, Whole

__all__ = [
    "CHECK",
    "ORDER",
    "VERDICTS",
    "AloneClip",
    "CheckDocument",
    "CheckVerdict",
    "CheckedFile",
    "CheckedManifest",
    "ClipVerdicts",
    "ComparedClip",
    "Difference",
    "ReferenceVerdict",
    "Verdict",
    "Verdicts",
    "counted_as",
]

VERDICTS: Final = "rushlight-verify-1"
CHECK: Final = "rushlight-check-1"
Verdict = Literal["pass", "cannot tell", "warn", "fail"]
ORDER: Final[Mapping[Verdict, int]] = {"pass": 0, "cannot tell": 1, "warn": 2, "fail": 3}  # the worst last


def counted_as(verdict: str, damage: Sequence[str]) -> str:
    """The verdict that people see a clip counted under: one that was delivered with damaged frames, of which `damage` tells, has
    warnings at least, however well its files match."""
    return "warn" if damage and verdict in ("pass", "cannot tell") else verdict


class CheckVerdict(Shape):
    """One check of a file, or the worst of all files of a clip. Figures are there where they were measured."""

    verdict: Verdict = Field(description="pass, cannot tell, warn or fail.")
    text: str = Field(description="Finding in words; empty where all is well.")
    found: int | str | None = Field(
        default=None, description="Found in the file: number of frames, or timecode."
    )
    logged: int | str | None = Field(
        default=None, description="What the log has: number of frames, or timecode."
    )
    worst_luma: Number | None = Field(
        default=None, description="Largest difference of a cell's mean luma, in 8-bit codes."
    )
    mean: Number | None = Field(default=None, description="Mean colour difference of all tiles, in `unit`.")
    p95: Number | None = Field(default=None, description="95th percentile of the differences, in `unit`.")
    worst: Number | None = Field(default=None, description="Largest difference of a tile, in `unit`.")
    frames: Count | None = Field(default=None, description="Number of frames that were measured.")
    unit: str = Field(default="", description="Unit of the differences: CIEDE2000 or ten-bit codes.")
    worst_frame_p95: Number | None = Field(
        default=None, description="95th percentile of the differences in the worst frame, in `unit`."
    )
    shares: Mapping[str, Number] | None = Field(
        default=None, description="Difference as a multiple of what a known fault does, by fault."
    )
    error: Number | None = Field(
        default=None, description="Tolerance of those multiples: the codec's own error."
    )
    sensitivity: Mapping[str, Number] | None = Field(
        default=None, description="CIEDE2000 that a small fault would make in this clip, by fault."
    )


class ClipVerdicts(Shape):
    """Verdicts on one clip."""

    clip: str = Field(description="Clip as the list names it.")
    job: str = Field(description="Name of the job in the log.")
    made: str = Field(description="When the record that was measured against was written (ISO 8601).")
    decision: str = Field(default="", description="supplied: a colour decision was given; none.")
    verdict: Verdict = Field(description="Worst verdict of all checks, but for a sound that cannot be told.")
    checks: Mapping[str, CheckVerdict] = Field(
        description="Worst verdict over all files, by check: frames, timecode, tags, colour, sound, hash, record."
    )
    files: Mapping[str, Mapping[str, CheckVerdict]] = Field(
        default={}, description="Verdicts by file (path from the output folder) and check."
    )
    folder: str = Field(
        default="", description="Output folder, where those of several were verified together."
    )


class Difference(Shape):
    """Colour differences of one clip between two renders."""

    mean: Number = Field(description="Mean difference, CIEDE2000.")
    worst: Number = Field(description="Largest difference, CIEDE2000.")


Differences = Annotated[
    list[str], Field(description="Where the two were made differently, or why they were not compared.")
]


class ComparedClip(Shape):
    """A clip of two output folders, compared: `verify --against`."""

    clip: str = Field(description="Clip as the list names it.")
    verdict: Literal["colour differs", "same colour"] = Field(description="colour differs, or same colour.")
    same_look: bool = Field(description="True where the looks' digests are the same.")
    same_frames: bool | None = Field(
        description="True where every frame of the common outputs was graded to the same codes; null without any."
    )
    differences: Differences
    patches: Difference = Field(description="Differences of the patches through both looks.")
    tiles: Difference | None = Field(description="Differences of the tiles; null where none are common.")
    folder: str = Field(
        default="", description="Output folder, where those of several were verified together."
    )


class AloneClip(Shape):
    """A clip of one output folder that was compared with nothing."""

    clip: str = Field(description="Clip as the list names it.")
    verdict: Literal["only here", "only there", "not compared"] = Field(
        description="only here, only there (in the folder that it was compared with), or not compared."
    )
    patches: None = Field(default=None, description="Null.")
    tiles: None = Field(default=None, description="Null.")
    differences: Differences
    folder: str = Field(
        default="", description="Output folder, where those of several were verified together."
    )


class ReferenceVerdict(Shape):
    """A frame taken from a monitor against the delivered frame at its timecode: `verify --reference`."""

    reference: str = Field(description="Path of the reference frame.")
    clip: str = Field(description="Clip that its name tells; empty where it tells none.")
    verdict: Literal["matches", "differs", "not compared"] = Field(
        description="matches, differs or not compared."
    )
    mean: Number | None = Field(
        description="Mean difference of the tiles, CIEDE2000; null where not compared."
    )
    worst: Number | None = Field(
        description="Largest difference of a tile, CIEDE2000; null where not compared."
    )
    text: str = Field(description="Finding in words; empty where there is none.")
    timecode: str = Field(default="", description="Timecode that its name tells.")
    folder: str = Field(
        default="", description="Output folder, where those of several were verified together."
    )


class Verdicts(Shape):
    """Verdicts of `verify` on an output folder, or on all of a day's."""

    schema_: Literal["rushlight-verify-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    measured: str = Field(description="When it was measured (ISO 8601).")
    clips: list[ClipVerdicts] = Field(description="Every delivered clip.")
    counts: Mapping[str, Count] = Field(default={}, description="Number of clips by verdict.")
    notes: list[str] = Field(
        default=[], description="What is odd about the log and costs nothing. Only printed."
    )
    against: list[ComparedClip | AloneClip] = Field(
        default=[],
        description="Each clip against another render of the list, the largest difference first. Only printed.",
    )
    references: list[ReferenceVerdict] = Field(
        default=[], description="Each frame taken from a monitor, the largest difference first. Only printed."
    )


class CheckedManifest(Shape):
    """One manifest, or a chain of manifests that is wrong."""

    path: str = Field(description="Path from the folder that was checked, or as it was named.")
    verdict: Literal["intact", "alone", "changed", "missing", "not in the chain", "no chain", "not read"] = (
        Field(
            description="intact: as its chain says; alone: named, and no chain lies beside it; changed: not as its chain, or the"
            " manifest that refers to it, says; missing: the chain, or a reference, names it; not in the chain; no chain; not read."
            " The hashes of all but the first two are not used."
        )
    )
    text: str = Field(description="Finding in words; empty where all is well.")
    files: Count = Field(description="Number of files that it names.")
    made: str = Field(default="", description="When it was made, as it says.")
    maker: str = Field(default="", description="Tool and version that made it, as it says.")


class CheckedFile(Shape):
    """One file against the manifests."""

    path: str = Field(
        description="Path from the folder that was checked, or from that of the day document; of a folder with `/` at its end."
    )
    verdict: Literal[
        "matches", "differs", "missing", "not in the manifest", "no usable hash", "cannot be read", "ignored"
    ] = Field(
        description="matches: size and hash are the manifest's; differs; missing: in the manifest and not there; not in the"
        " manifest; no usable hash; cannot be read; ignored: left out by a pattern of the manifest."
    )
    text: str = Field(description="Finding in words; empty where there is nothing to say.")
    size: Whole | None = Field(default=None, description="Bytes, where it is there.")
    kind: str = Field(default="", description="Kind of hash that was compared: xxh64, md5 ...")
    stated: str = Field(default="", description="Hash in the manifest.")
    found: str = Field(default="", description="Hash of the file.")
    manifest: str = Field(default="", description="Path of the manifest that states it.")


class CheckDocument(Shape):
    """Verdicts of `check` on a folder of originals."""

    schema_: Literal["rushlight-check-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    checked: str = Field(description="When the check began (ISO 8601).")
    media: str = Field(description="Folder that was checked, or the day document.")
    verdict: Literal[
        "all match", "does not match", "manifest not intact", "nothing compared", "no manifest"
    ] = Field(description="Verdict on all of it; only `all match` ends with exit code 0.")
    text: str = Field(description="What to do, in words; empty where all match.")
    counts: Mapping[str, Count] = Field(description="Number of files by verdict.")
    manifests: list[CheckedManifest] = Field(description="Every manifest.")
    files: list[CheckedFile] = Field(description="Every file, the worst verdicts first.")
    notes: list[str] = Field(description="What is odd about the manifests and costs nothing.")
