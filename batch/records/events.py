"""Events: the JSON lines that `render --json` and `queue run --json` print while they work."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from annotated_types import Ge
from pydantic import Field, TypeAdapter

from rushlight.batch.records.job_record import Replaced
from rushlight.batch.records.shape import LATER, Count, Number, Shape
from rushlight.batch.records.summary import Sums

__all__ = [
    "EVENT",
    "EVENTS",
    "AnyEvent",
    "Begun",
    "CardTold",
    "ClipTold",
    "Delivered",
    "Ended",
    "EventDocument",
    "FolderTaken",
    "Forecast",
    "Over",
    "PhaseTold",
    "Queued",
    "Reported",
    "RunTold",
    "SegmentMade",
    "Started",
    "Told",
    "event_document",
]

EVENT = "rushlight-event-1"
EventDocument = dict[str, object]  # an event in plain values


class _Event(Shape):
    schema_: Literal["rushlight-event-1"] = Field(
        alias="schema", description="Schema and version of the event."
    )
    sequence: Annotated[int, Ge(1)] = Field(
        description="Number of the event in its run, counted from 1 without a gap."
    )
    time: str = Field(description="When it was told, by the runner's clock (ISO 8601, milliseconds).")


Clip = Annotated[str, Field(description="Clip as the list names it.")]


class Told(_Event):
    """Something to know, or something wrong, of the request as a whole."""

    event: Literal["note", "problem", "refused", "warning"] = Field(
        description="note: a sentence on how it goes; problem: something is wrong with the request or a row; refused: the request as a whole"
        " was refused, nothing is made; warning: something to know."
    )
    text: str = Field(description="Sentence for people.")


class FolderTaken(_Event):
    """An output folder is written to from now on."""

    event: Literal["folder"] = Field(description="folder.")
    out: str = Field(description="Path of the output folder.")


class Queued(_Event):
    """Clips of a list joined the queue."""

    event: Literal["queued"] = Field(description="queued.")
    list: str = Field(description="Path of the list.")
    clips: Count = Field(description="Clips that are in the queue by now and not made.")
    unchanged: Count = Field(description="Clips that were made earlier and are as they were.")
    set_aside: Count = Field(description="Rows that are wrong.")
    failed: Count = Field(default=0, description="Rows whose originals are there and do not open.")


class Reported(_Event):
    """The pages of an output folder are made."""

    event: Literal["report"] = Field(description="report.")
    page: str = Field(description="Path of the page to open.")


class Begun(_Event):
    """Work starts; it may start again, once originals that grew stand still."""

    event: Literal["begin"] = Field(description="begin.")
    clips: Count = Field(description="Clips that are to be made.")
    frames: Count = Field(
        description="Frames that are to be made: a clip's once for each part that it is made in."
    )
    parts: Count = Field(
        default=0,
        description="Parts that the clips are made in: more than clips where some outputs of a clip are made ahead of others.",
    )
    workers: Count = Field(description="Processes that work.")


class Over(_Event):
    """The workers are let go; work may begin again."""

    event: Literal["end"] = Field(description="end.")


class Started(_Event):
    """Work on a clip begins."""

    event: Literal["started"] = Field(description="started.")
    clip: Clip
    frames: Count = Field(default=0, description="Frames of it that were made in an earlier run.")
    of: Count = Field(default=0, description="Frames of it in all; 0 where that is not known.")


class SegmentMade(_Event):
    """A segment of a clip is made."""

    event: Literal["segment"] = Field(description="segment.")
    clip: Clip
    frames: Count = Field(description="Frames made since the beginning.")
    of: Count = Field(description="Frames that are to be made.")
    per_second: Number = Field(description="Frames a second since the beginning.")
    clip_frames: Count = Field(default=0, description="Frames made of the clip.")


class ClipShare(Shape):
    """How far a clip is that is being made."""

    clip: Clip
    done: Count = Field(description="Frames of it that are made.")
    total: Count = Field(description="Frames of it in all.")


class PhaseTold(_Event):
    """A phase of the run begins, or gets on: told every few seconds."""

    event: Literal["phase"] = Field(description="phase.")
    clip: Clip = ""
    text: str = Field(default="", description="Sentence for people; empty where the phase only gets on.")
    phase: Literal["planning", "preparing this machine", "rendering", "checking", "pages"] = Field(
        description="planning; preparing this machine: compiling, once; rendering; checking; pages."
    )
    done: Count = Field(description="How much of it is done: clips, kinds of pictures, frames, or clips.")
    total: Count = Field(description="How much there is to do; 0 where that is not known.")
    ends: str = Field(
        default="",
        description="Moment that it should end, by the runner's clock (ISO 8601); empty where not known.",
    )
    clips: list[ClipShare] = Field(default=[], description="Clips that are being made, while rendering.")


class Delivered(_Event):
    """A clip is delivered, or a part of its outputs, or it is there already."""

    event: Literal["done", "part", "there"] = Field(
        description="done: a clip is delivered; part: some outputs of a clip are delivered, others follow; there: a clip was made already."
    )
    clip: Clip
    text: str = Field(default="", description="Sentence for people.")
    outputs: list[str] = Field(default=[], description="Paths of all its files, from the output folder.")
    warnings: list[str] = Field(default=[], description="Things to know of the clip, a sentence each.")
    replaced: list[Replaced] = Field(default=[], description="Files that this revision replaced.")
    revision: Count = Field(default=1, description="Revision of the clip.")


class ClipTold(_Event):
    """A clip's event other than its delivery."""

    event: Literal["failed", "set aside", "changed", "waits for a grade", "retry"] = Field(
        description="failed: a clip could not be made; set aside: a clip cannot be rendered as it stands; changed: an original changed"
        " while it was read, it is planned again; waits for a grade: a watched day's clip has none yet; retry: a piece of work failed and is tried again."
    )
    clip: Clip
    text: str = Field(default="", description="Why, in words.")


class RunTold(_Event):
    """An event of the run as a whole."""

    event: Literal["waiting", "paused", "resumed", "stopping"] = Field(
        description="waiting: for a folder that another run has, for an original that is still being copied, or for media that was taken away; paused: nothing new is started, for"
        " want of room, a disk or workers; resumed: work goes on; stopping: nothing new is started, what is being made is finished."
    )
    clip: Clip = ""
    text: str = Field(default="", description="Why, in words.")


class CardTold(_Event):
    """An event of a card of a watched day."""

    event: Literal["card arriving", "card taken in", "card gone", "card back"] = Field(
        description="card arriving: a folder of originals is being copied, or is copied on to; card taken in: it is complete, and what is to"
        " be made of it is in the queue; card gone: its media was taken away, and is waited for; card back: it is there again."
    )
    card: str = Field(description="Name of its folder.")
    folder: str = Field(description="Path of its folder.")
    how: Literal["", "by manifest", "by having stood still"] = Field(
        default="", description="How it is known to be complete."
    )
    clips: Count = Field(default=0, description="Clips on it so far.")
    text: str = Field(default="", description="More on it, in words.")


class Forecast(_Event):
    """Forecast: work that should be ready by a moment will be late, or will be in time again."""

    event: Literal["late", "in time"] = Field(
        description="late: by the forecast not all will be ready; in time: by the forecast all will be ready again."
    )
    clip: Clip = ""
    text: str = Field(default="", description="Forecast in words.")
    ready_by: str = Field(description="Moment that it should be ready by (ISO 8601).")
    all_ready: str = Field(description="Moment that all will be ready (ISO 8601).")
    ready: list[str] = Field(description="Clips that will be ready in time.")
    late: list[str] = Field(description="Clips that will be late.")
    measured: bool = Field(description="Whether it rests on measured speed, not on the plan's guess.")


class Ended(_Event, Sums):
    """The last event: how the run ended."""

    event: Literal["summary"] = Field(description="summary.")


AnyEvent = (
    Told
    | FolderTaken
    | Queued
    | Reported
    | Begun
    | Over
    | Started
    | SegmentMade
    | PhaseTold
    | Delivered
    | ClipTold
    | RunTold
    | CardTold
    | Forecast
    | Ended
)
EVENTS: TypeAdapter[AnyEvent] = TypeAdapter(Annotated[AnyEvent, Field(discriminator="event")], config=LATER)


def event_document(*, sequence: int, time: str, data: Mapping[str, object]) -> EventDocument:
    """An event in plain values: its schema, number and moment, then what it says."""
    return {"schema": EVENT, "sequence": sequence, "time": time, **data}
