"""Rows of the queue: a job and its state, as `queue list --json` prints them; and the job's plain values in the row."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from rushlight.batch.records.files import ClipFraming
from rushlight.batch.records.job_record import RecipeName
from rushlight.batch.records.look import Grade
from rushlight.batch.records.original import CameraFacts, ManifestCheck, Signal, ToCompare
from rushlight.batch.records.request import PlainRequest
from rushlight.batch.records.shape import Count, FrameRun, Name, Number, Shape, Whole
from rushlight.batch.records.sound import ClipSound

__all__ = [
    "AskedAgain",
    "JobState",
    "PlannedRecord",
    "QueueRow",
    "QueuedOutput",
    "QueuedPlan",
    "SegmentFile",
    "SegmentResult",
    "TurnOrders",
]

JobState = Literal["queued", "held", "running", "done", "failed", "set aside"]


class QueueRow(Shape):
    """A job in the queue, as `queue list --json` prints it."""

    clip: str = Field(description="Clip as the list names it.")
    state: JobState = Field(description="queued, held, running, done, failed or set aside.")
    priority: int = Field(description="Priority: higher ones first.")
    frames: int = Field(description="Number of frames of the clip.")
    out: str = Field(description="Output folder.")
    error: str = Field(description="Why it failed or was set aside; empty otherwise.")
    attempts: Count = Field(description="How often it was started.")
    deaths: Count = Field(description="How often a worker was lost over it.")
    made: Count = Field(default=0, description="Frames that are finished.")
    turn: str = Field(default="", description="Why it stands where it does in the order, in words.")


class QueuedSource(Shape):
    """Original of a queued job."""

    path: str = Field(description="Path of the original: absolute, as the runner sees it.")
    files: list[str] = Field(default=[], description="Its files, where they lie in several folders.")


class QueuedSegment(Shape):
    """A run of the original's frames that is rendered as one task."""

    index: Count = Field(description="Number of the segment, counted from 0.")
    count: Count = Field(description="Number of frames.")


class QueuedOutput(Shape):
    """An output that a job is to make."""

    output: str = Field(description="Name of the output in the recipe.")
    identity: str = Field(description="Hex digest of all that makes the file what it is.")


class PlannedRecord(Shape):
    """Planned part of a job record: what the plan knows of a clip and rendering does not find out."""

    signal: Signal | None = Field(default=None, description="How the original's code values are read.")
    capture_rate: str | None = Field(default=None, description="Frames a second in the camera, where stated.")
    grade: Grade | None = Field(default=None, description="Grade and whose decision it is; null without one.")
    recipe: RecipeName | None = Field(default=None, description="Recipe that the clip is made by.")
    excerpt: str = Field(
        default="", description="Part of the clip that is made alone: `IN-OUT`, or a still's timecode."
    )
    row: Mapping[str, str] | None = Field(default=None, description="Row of the list: its cells by column.")
    row_from: Mapping[str, str] = Field(
        default={},
        description="Of cells that the list does not state, who does: a table, a name, or the sound.",
    )
    camera_facts: CameraFacts = Field(default={})
    sound: ClipSound | None = Field(
        default=None, description="Sound of the clip, where sound folders were given."
    )
    framing: list[ClipFraming] = Field(
        default=[], description="What framing decisions (ASC FDL) make of its outputs."
    )
    warnings: list[str] = Field(default=[], description="Things to know of the clip, a sentence each.")
    sampled_hash: str = Field(default="", description="Hash of the original's ends, `ALGORITHM:HEX`.")
    mended: list[FrameRun] = Field(
        default=[], description="Runs of frames that did not decode in an earlier copy of the original."
    )
    manifest: ManifestCheck | None = Field(
        default=None, description="Verdict on the original against its hash manifest."
    )
    compare: list[ToCompare] = Field(
        default=[], description="Files whose hashes are compared before the clip is rendered."
    )
    deliver_differing: bool = Field(
        default=False, description="Whether it is delivered where its original differs from its manifest."
    )


class QueuedPlan(Shape):
    """A job as it was planned: what the runner needs to know of it. The rest is the worker's (pipelines/job/spec.py)."""

    job: Name = Field(description="Name of the job.")
    out: str = Field(description="Output folder.")
    source: QueuedSource = Field(description="Original.")
    record: PlannedRecord = Field(description="What the job record says that rendering does not find out.")
    segments: list[QueuedSegment] = Field(description="Segments in order.")
    outputs: list[QueuedOutput] = Field(default=[], description="Outputs that are to be made.")


class TurnOrders(Shape):
    """Orders for one turn of a clip: some of its outputs, made as a job of their own. The runner follows them, workers never see
    them."""

    rank: int = Field(default=0, description="Rank among jobs of one priority: lower ones first.")
    cost: Number = Field(default=0.0, description="Work in seconds of one core, as the plan estimates it.")
    kept_outputs: list[str] = Field(default=[], description="Outputs that stay as they are.")
    earlier_outputs: list[str] = Field(default=[], description="Outputs that earlier turns of the clip make.")
    later_outputs: list[str] = Field(default=[], description="Outputs that later turns of the clip make.")
    replaced: Literal["keep", "remove"] = Field(
        default="keep", description="What happens to files that this turn replaces: keep or remove."
    )
    picture: str = Field(
        default="",
        description="Picture that its list asked for: range, and digest of its look; of older versions empty.",
    )


class AskedAgain(Shape):
    """A row that could not be planned: what is read again once its list is mended."""

    request: PlainRequest = Field(description="Request in plain values.")


class SegmentFile(Shape):
    """A file that a finished segment has left."""

    path: str = Field(description="Path of the file.")
    bytes: Whole = Field(description="Size of the file, in bytes.")


class SegmentResult(Shape):
    """A finished segment: it is not rendered again while its files are there."""

    files: list[SegmentFile] = Field(default=[], description="Files that it has left.")
    frames: Count = Field(default=0, description="Number of frames.")
    machine: str = Field(
        default="", description="Machine that made it, where its graphics card was to grade and did not."
    )
    no_card: str = Field(default="", description="Why that card did not.")
