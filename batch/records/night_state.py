"""The state of a night as it stands in one output folder: `report/now.json`, and what `now.html` shows."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from rushlight.batch.records.files import OutputName
from rushlight.batch.records.shape import Count, Name, Shape

__all__ = [
    "NOW",
    "OVER",
    "CardNow",
    "ClipReady",
    "ClipRunning",
    "ClipWaiting",
    "FramesMade",
    "NightCounts",
    "NightPhase",
    "NightState",
    "PersonNeeded",
    "ViewingCopy",
]

NOW: Literal["rushlight-now-1"] = "rushlight-now-1"
NightPhase = Literal[
    "planning", "preparing this machine", "rendering", "checking", "pages", "paused", "waiting", "stopping", "over", "stopped",
    "broken off",
]  # fmt: skip
OVER: tuple[NightPhase, ...] = ("over", "stopped", "broken off")  # nothing runs any more


class NightCounts(Shape):
    """Clips of all lists of the folder, each once: listed is the sum of all others but `ungraded`."""

    listed: Count = Field(description="Clips in all lists, each once, and those of cards that still arrive.")
    delivered: Count = Field(description="Clips that are delivered, and wait for no newer revision.")
    running: Count = Field(description="Clips that are being made.")
    waiting: Count = Field(description="Clips that are not made yet and need nobody: their turn comes.")
    held: Count = Field(description="Clips that a person holds back.")
    arriving: Count = Field(default=0, description="Clips whose card has not come, or is still being copied.")
    waits_for_grade: Count = Field(default=0, description="Clips that wait for a grade.")
    set_aside: Count = Field(description="Clips that are set aside: a row is wrong, or a person must look.")
    failed: Count = Field(description="Clips that failed.")
    ungraded: Count = Field(default=0, description="Delivered clips without a colour decision.")

    @model_validator(mode="after")
    def _adds_up(self) -> Self:
        parts = (
            *(self.delivered, self.running, self.waiting, self.held, self.arriving),
            *(self.waits_for_grade, self.set_aside, self.failed),
        )
        if self.listed != sum(parts):
            raise ValueError(f"does not add up: listed {self.listed}, the others {sum(parts)}")
        return self


class FramesMade(Shape):
    """Frames of the run."""

    made: Count = Field(description="Frames that are made.")
    of: Count = Field(description="Frames that are to be made; 0 where that is not known yet.")


class ClipRunning(Shape):
    """A clip that is being made."""

    clip: str = Field(description="Clip as the list names it.")
    frame: Count = Field(description="Frames of it that are made.")
    frames: Count = Field(description="Frames of it in all; 0 where that is not known yet.")
    percent: Count = Field(description="The same in hundredths, rounded down.")


class ClipWaiting(Shape):
    """A clip that is not made yet."""

    clip: str = Field(description="Clip as the list names it.")
    state: Literal["waiting", "held", "arriving", "waits for a grade"] = Field(
        description="waiting: its turn comes; held: a person holds it back; arriving: its card has not come, or is still being copied; waits for a grade."
    )


class PersonNeeded(Shape):
    """Something that waits for a person."""

    what: Literal["set aside", "failed", "paused", "late", "problem", "card"] = Field(
        description="set aside, failed: a clip; paused, late, problem: the run; card: one that is gone, or never was complete."
    )
    name: str = Field(default="", description="The clip or card; empty for the run.")
    text: str = Field(description="What is wrong, in words.")


class ViewingCopy(Shape):
    """A delivered movie."""

    output: OutputName
    path: Name = Field(description="Path of the file from the output folder, with `/`.")
    width: Count = Field(description="Width, in pixels.")
    height: Count = Field(description="Height, in pixels.")
    bytes: int = Field(ge=0, description="Size of the file, in bytes.")
    plays: bool = Field(description="True if browsers play it as it is: H.264, 8 bits, 4:2:0, in MP4.")


class ClipReady(Shape):
    """A clip that is delivered."""

    job: Name = Field(description="Name of its job.")
    clip: str = Field(description="Clip as the list names it.")
    scene: str = Field(default="", description="Scene, where the list says it.")
    take: str = Field(default="", description="Take, where the list says it.")
    circled: bool = Field(default=False, description="True if the take is circled.")
    finished: str = Field(description="When it was delivered (ISO 8601).")
    frames: Count = Field(description="Number of frames.")
    rate: str = Field(description="Frames a second.")
    first_timecode: str = Field(description="Timecode of its first frame.")
    revision: Count = Field(default=1, description="Revision of the clip.")
    notes: list[str] = Field(default=[], description="Things to know of the clip, a sentence each.")
    thumb: str = Field(default="", description="Small picture, from the output folder; empty without one.")
    still: str = Field(default="", description="Larger picture, from the output folder; empty without one.")
    stills: list[str] = Field(default=[], description="Its delivered stills, from the output folder.")
    movies: list[ViewingCopy] = Field(default=[], description="Its movies, smallest first.")


class CardNow(Shape):
    """A card of a day: a folder of originals."""

    name: str = Field(description="Name of the card's folder.")
    state: Literal["arriving", "complete", "gone", "copy"] = Field(
        description="arriving: it is still being copied, or not planned yet; complete; gone: its media was taken away, it is waited for;"
        " copy: the same card as another."
    )
    how: str = Field(
        default="", description="How it is known to be complete: by manifest, or by having stood still."
    )
    clips: Count = Field(default=0, description="Originals found on it so far.")
    text: str = Field(default="", description="More on it, in words.")


class NightState(Shape):
    """The state of a night in one output folder."""

    schema_: Literal["rushlight-now-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    title: str = Field(description="Title of the night: the day's, else the folder's name.")
    written: str = Field(description="When this was written (ISO 8601).")
    begun: str = Field(default="", description="When the run began (ISO 8601); empty where there was none.")
    phase: NightPhase = Field(
        description="planning; preparing this machine; rendering; checking; pages; paused; waiting: nothing to do for now; stopping;"
        " over; stopped: with work left; broken off: by an error."
    )
    text: str = Field(default="", description="Sentence on the phase; empty where it needs none.")
    ends: str = Field(default="", description="Forecast of its end (ISO 8601); empty where not known.")
    ready_by: str = Field(
        default="", description="Moment that it should be ready by (ISO 8601); empty without one."
    )
    counts: NightCounts = Field(description="Clips in numbers.")
    frames: FramesMade = Field(description="Frames of this run.")
    running: list[ClipRunning] = Field(default=[], description="Clips that are being made.")
    waiting: list[ClipWaiting] = Field(
        default=[], description="Clips that are not made yet, the next one first."
    )
    needs: list[PersonNeeded] = Field(default=[], description="What waits for a person.")
    ready: list[ClipReady] = Field(default=[], description="Clips that are delivered, the newest first.")
    cards: list[CardNow] = Field(default=[], description="Cards of the day, where cards are watched for.")

    @property
    def is_over(self) -> bool:
        """True if nothing runs any more."""
        return self.phase in OVER
