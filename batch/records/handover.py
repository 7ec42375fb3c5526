"""A delivery that was closed: `handover.json` in it, and the same as a line of `log/handovers.jsonl` in the folder it is of."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from annotated_types import Ge
from pydantic import Field

from rushlight.batch.records.files import Bytes, FileHash, OutputName, Revision
from rushlight.batch.records.shape import Count, Name, Shape

__all__ = ["HANDOVER", "Gone", "Handover", "HandoverFile", "Lacking", "Since"]

HANDOVER: Final = "rushlight-handover-1"
State = Literal[
    "not made yet", "failed", "set aside", "dropped", "damaged", "measured wrong", "no file", "no record"
]
Since = Literal["first", "new", "changed", "renamed", "unchanged"]


class HandoverFile(Shape):
    """A file of an output in a delivery."""

    path: Name = Field(description="Path of the file in the delivery, with `/`.")
    output: OutputName
    job: Name = Field(description="Name of the job that made it.")
    clip: str = Field(description="Clip as the list names it.")
    bytes: Bytes
    hash: FileHash
    revision: Revision = 1
    since: Since = Field(
        description="Against what was handed over before under this name: first (nothing was), new, changed, renamed, unchanged."
    )
    why: str = Field(
        default="", description="Why it changed, as its revisions say; for a renamed one its name before."
    )
    brought: Literal["linked", "copied"] = Field(
        description="linked: a second name of the file in the output folder (hard link); copied."
    )


class Gone(Shape):
    """A file that was handed over before and holds no more."""

    path: Name = Field(description="Path that it had.")
    clip: str = Field(description="Clip as the list names it.")
    hash: FileHash
    why: str = Field(description="Why it holds no more.")


class Lacking(Shape):
    """A clip, or a file of one, that the delivery lacks."""

    clip: str = Field(description="Clip as the list names it, or the path of a file.")
    state: State = Field(
        description="not made yet; failed; set aside; dropped (taken out of the queue by hand); damaged: its file is not as it was"
        " made; measured wrong: it is there, and the last verify failed it; no file: an output that it lacks; no record: its line of the"
        " log does not read."
    )
    text: str = Field(default="", description="Why, in words.")


class Handover(Shape):
    """A closed delivery: what is in it, what changed since the one before, what is missing."""

    schema_: Literal["rushlight-handover-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    name: Name = Field(
        description="Name that it was asked for by: whoever gets it. Deliveries of one name follow one another."
    )
    number: Annotated[int, Ge(1)] = Field(description="Number in the name of its folder, from 1.")
    folder: Name = Field(description="Name of its folder.")
    closed: str = Field(description="When it was closed (ISO 8601).")
    title: str = Field(default="", description="Title of the shooting day.")
    origin: str = Field(description="Digest that tells the output folder it was made from.")
    made_by: str = Field(description="Version of rushlight that closed it.")
    holds: Literal["all", "changes"] = Field(
        description="all: every file of its outputs; changes: those that are new, changed or renamed since the one before."
    )
    after: str = Field(
        default="", description="Folder of the delivery of this name before; empty for the first."
    )
    outputs: list[str] = Field(description="Outputs that were chosen.")
    with_record: bool = Field(
        description="True where it holds the record (`log/`), which `--from` and `verify` need."
    )
    missing: list[Lacking] = Field(description="Clips and files that it lacks.")
    files: list[HandoverFile] = Field(description="Files of its outputs.")
    unchanged: Count = Field(
        default=0, description="Files that are as they were handed over before, and not in it."
    )
    gone: list[Gone] = Field(default=[], description="Files that were handed over before and hold no more.")
    others: list[str] = Field(
        default=[], description="Its other files: tables, grades, LUTs, record, letter, page."
    )
    notes: list[str] = Field(default=[], description="What is to be known of it, a sentence each.")

    @property
    def bytes(self) -> int:
        """Size of the outputs' files together."""
        return sum(file.bytes for file in self.files)
