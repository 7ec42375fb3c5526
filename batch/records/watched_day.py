"""A day that is watched, as each of its output folders keeps it: `log/watched.json`, the cards and what waits for a grade."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rushlight.batch.records.shape import Count, Name, Shape, Whole

__all__ = ["WATCHED", "WATCHED_FILE", "CardState", "WaitingClip", "WatchedCard", "WatchedDay"]

WATCHED: Literal["rushlight-watched-1"] = "rushlight-watched-1"
WATCHED_FILE = "log/watched.json"  # in an output folder

CardState = Literal["arriving", "complete", "gone", "copy"]


class WatchedCard(Shape):
    """A card: a folder of originals."""

    folder: str = Field(description="Path of the folder; of a card that is gone, where it was.")
    name: str = Field(description="Name of the folder.")
    alone: bool = Field(default=False, description="Whether the folders in it are cards themselves.")
    state: CardState = Field(
        description="arriving: it is being copied; complete; gone: its media was taken away, and is waited for; copy: the same card as"
        " another that is there."
    )
    how: Literal["", "by manifest", "by having stood still"] = Field(
        default="", description="How it is known to be complete."
    )
    taken: bool = Field(default=False, description="Whether its clips are in the queue, or were.")
    text: str = Field(default="", description="More on it, in words.")
    clips: Count = Field(default=0, description="Clips on it.")
    files: Count = Field(default=0, description="Files on it.")
    bytes: Whole = Field(default=0, description="Bytes of them.")
    names: str = Field(
        default="", description="Hex digest of the names and sizes of its files when it was complete."
    )
    key: str = Field(
        default="", description="Hex digest that tells the card from any other, wherever it lies."
    )
    first: str = Field(default="", description="First original, by name.")
    head: str = Field(default="", description="Hex digest of the beginning of that.")


class WaitingClip(Shape):
    """A clip that waits for a grade, or for its card."""

    job: Name = Field(description="Name of its job.")
    clip: str = Field(description="Clip as the list names it.")


class WatchedDay(Shape):
    """A day as `rushlight day run` last saw it."""

    schema_: Literal["rushlight-watched-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    day: str = Field(description="Path of the day document.")
    queue: str = Field(default="", description="Path of the queue's file.")
    watched: bool = Field(default=False, description="Whether a run watched it when this was written.")
    written: str = Field(default="", description="When this was written (ISO 8601).")
    cards: list[WatchedCard] = Field(
        default=[], description="Its cards, in the order in which they were seen."
    )
    no_grade: list[WaitingClip] = Field(default=[], description="Clips of this folder that wait for a grade.")
    listed: bool = Field(default=False, description="Whether a list says what is made, of all cards.")
    not_come: list[WaitingClip] = Field(
        default=[], description="Clips of the list whose originals have not come."
    )
