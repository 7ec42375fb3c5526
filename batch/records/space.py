"""What output folders hold, and what may go: `space --json`; and each thing that was cleared, a line of `log/cleared.jsonl`."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from annotated_types import Ge
from pydantic import Field

from rushlight.batch.records.shape import Count, Name, Shape, Whole

__all__ = [
    "CLEARED",
    "SPACE",
    "ClearKind",
    "Cleared",
    "ClearedBefore",
    "HandedOver",
    "Holds",
    "Kind",
    "MayGo",
    "SpaceDocument",
    "SpaceFolder",
    "SpacePolicy",
    "Stays",
]

SPACE: Final = "rushlight-space-1"
CLEARED: Final = "rushlight-cleared-1"
ClearKind = Literal["revision", "work"]

Bytes = Annotated[Whole, Field(description="Bytes of the files, as their sizes say.")]
OnDisk = Annotated[
    Whole, Field(description="Bytes that they take on the disk: a file with several names counts once.")
]
Files = Annotated[Count, Field(description="Number of files.")]
What = Annotated[
    ClearKind,
    Field(description="revision: a file that a revision replaced; work: what a finished clip left in .work."),
]
Path = Annotated[Name, Field(description="Its path from the output folder, with `/`.")]
Hash = Annotated[str, Field(description="XXH3 of the file, 128 bits, by its record; empty of work.")]
Job = Annotated[str, Field(description="Name of the job.")]
Clip = Annotated[str, Field(description="Clip as the list names it.")]
OutputOf = Annotated[str, Field(description="Name of the output; empty of work.")]
RevisionOf = Annotated[Count, Field(description="Revision that it was made in; 0 of work.")]


class SpacePolicy(Shape):
    """What may go."""

    keep_revisions: Count = Field(
        description="Newest superseded revisions that stay, of each clip and output."
    )
    older_than: Annotated[int, Ge(1)] | None = Field(
        description="Days since it was replaced (of work: since its clip was finished); null: any age, and no work."
    )

    @property
    def rule(self) -> str:
        """The policy as it is written down: `keep_revisions = 2, older_than = 30 days`."""
        days = f", older_than = {self.older_than} days" if self.older_than else ""
        return f"keep_revisions = {self.keep_revisions}{days}"


Kind = Literal[
    "output", "revisions", "former", "looks", "inputs", "log", "pages", "manifests", "work", "other"
]  # of things that a folder holds, in the order in which they are told


class Holds(Shape):
    """One kind of what a folder holds."""

    kind: Kind = Field(
        description="output: files of an output as they hold now; revisions: what they replaced; former: delivered, and no longer counted;"
        " looks: baked looks; inputs: what requests were made of; log: records; pages: report and tables; manifests: hash manifests; work:"
        " unfinished work; other: not ours."
    )
    output: str = Field(default="", description="Name of the output; empty of other kinds.")
    files: Files
    bytes: Bytes
    disk: OnDisk


class MayGo(Shape):
    """A file, or a finished clip's working folder, that may go by policy."""

    kind: What
    path: Path
    files: Files
    bytes: Bytes
    hash: Hash
    job: Job
    clip: Clip
    output: OutputOf
    revision: RevisionOf
    replaced: str = Field(
        description="When it was replaced, or its clip finished (ISO 8601); empty where no record says."
    )
    mtime_ns: Whole = Field(
        description="Time of last change, in nanoseconds since 1970; of work, the newest."
    )


class Stays(Shape):
    """Superseded files that stay, by the reason."""

    why: str = Field(description="Why they stay.")
    files: Files
    bytes: Bytes


class ClearedBefore(Shape):
    """What was cleared of a folder on one day by one rule, and is not there any more."""

    day: str = Field(description="The day (ISO 8601).")
    rule: str = Field(description="Policy that it went by.")
    files: Files
    bytes: Bytes


class HandedOver(Shape):
    """A closed delivery of the folder; it lies outside, and nothing that it names may go."""

    folder: str = Field(description="Name of its folder.")
    files: Files
    bytes: Bytes


class SpaceFolder(Shape):
    """One output folder."""

    folder: Name = Field(description="The folder, whole path.")
    delivery: str = Field(
        default="",
        description="Name of the closed delivery that it is; empty of an output folder. Nothing of one may go.",
    )
    policy: SpacePolicy = Field(description="What may go of it.")
    holds: list[Holds] = Field(description="All that it holds, by kind; their sum is that of all its files.")
    files: Files
    bytes: Bytes
    disk: OnDisk
    links: Count = Field(
        default=0, description="Links, pipes and the like, which are no files and have no bytes here."
    )
    may_go: list[MayGo] = Field(description="What may go by policy.")
    freed: Whole = Field(
        description="Bytes on the disk that clearing it gives: what has another name elsewhere gives none."
    )
    stays: list[Stays] = Field(default=[], description="Superseded files that stay, and why.")
    cleared: list[MayGo] = Field(default=[], description="What was cleared just now (`--remove`).")
    cleared_before: list[ClearedBefore] = Field(
        default=[],
        description="What was cleared earlier, by day and rule; its lines are in log/cleared.jsonl.",
    )
    handed_over: list[HandedOver] = Field(default=[], description="Closed deliveries that were made of it.")
    unread: list[str] = Field(
        default=[], description="What could not be read, or cleared; what lies in it is not counted."
    )
    notes: list[str] = Field(default=[], description="What is to be known of it, a sentence each.")


class SpaceDocument(Shape):
    """What output folders hold, and what may go or was cleared."""

    schema_: Literal["rushlight-space-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    folders: list[SpaceFolder] = Field(description="The folders, as they were given.")
    files: Files
    bytes: Bytes
    disk: OnDisk


class Cleared(Shape):
    """Something that was cleared by policy: written down before it goes, so that a file that is still there is not gone."""

    schema_: Literal["rushlight-cleared-1"] = Field(
        alias="schema", description="Schema and version of the line."
    )
    kind: What
    path: Path
    files: Files
    bytes: Bytes
    hash: Hash
    job: Job
    clip: Clip
    output: OutputOf
    revision: RevisionOf
    replaced: str = Field(default="", description="When it was replaced, or its clip finished (ISO 8601).")
    rule: str = Field(description="Policy that it went by.")
    cleared: str = Field(description="When it was cleared (ISO 8601).")
    made_by: str = Field(description="Version of rushlight that cleared it.")

    @property
    def sentence(self) -> str:
        """`cleared on 2026-11-28 by rule (keep_revisions = 2)`."""
        return f"cleared on {self.cleared[:10]} by rule ({self.rule})"
