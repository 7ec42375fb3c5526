"""The summary of a night: what `--on-finish`, `--on-failure` and `--on-late` get on standard input; and what a webhook gets."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from rushlight.batch.records.night_state import NightCounts, NightPhase
from rushlight.batch.records.shape import Count, Name, Number, Plain, Shape

__all__ = [
    "SUMMARY",
    "TOLD",
    "ClipError",
    "FolderSums",
    "Missing",
    "Status",
    "Summary",
    "Sums",
    "ToldChange",
    "ToldData",
    "ToldFolder",
    "ToldMessage",
    "ToldNeed",
]

SUMMARY = "rushlight-summary-1"
TOLD: Literal["rushlight-told-1"] = "rushlight-told-1"


class Missing(Shape):
    """Something that a person has to state of a camera, and the lines that would."""

    key: str = Field(description="What is missing: `encoding`.")
    camera: str = Field(description="Camera, as far as names and headers tell.")
    text: str = Field(description="Sentence for people.")
    clips: list[str] = Field(description="Clips that it is missing of.")
    alone: list[str] = Field(description="Those of them with nothing else wrong.")
    suggested: str = Field(description="What the headers suggest, to be checked by a person; may be empty.")
    file: str = Field(description="Document that the lines belong in; empty where none is given yet.")
    lines: str = Field(description="The lines, as TOML.")

    @property
    def sentence(self) -> str:
        """What is missing, and where its lines belong."""
        return f"{self.text}. {self._where}"

    @property
    def step(self) -> str:
        """What to do: where the lines belong, and they below it."""
        return f"{self._where}\n{self.lines}"

    @property
    def _where(self) -> str:
        return f"Put this into {self.file or 'a day.toml, or a file for --defaults'}:"

    def said(self, margin: str = "    ") -> str:
        """All of it, for people: the sentence, then the lines."""
        return "\n".join((self.sentence, *(margin + line for line in self.lines.splitlines())))


class ClipError(Shape):
    """A clip that was not delivered, and why."""

    clip: str = Field(description="Clip as the list names it.")
    error: str = Field(description="Why it was not delivered.")


class FolderSums(Shape):
    """All lists that went into one output folder: listed = delivered + set aside + failed + not yet."""

    title: str = Field(default="", description="What the day is called; empty where no document says.")
    lists: Count = Field(description="Number of lists.")
    listed: Count = Field(description="Clips in all lists, each once.")
    delivered: Count = Field(description="Clips that are delivered.")
    set_aside: Count = Field(description="Clips that are set aside.")
    failed: Count = Field(description="Clips that failed.")
    not_yet: Count = Field(description="Clips that are not made yet.")
    ungraded: Count = Field(default=0, description="Delivered clips without a colour decision.")
    media: Mapping[str, Count] | None = Field(
        default=None,
        description="Originals below the media folders in numbers, by how they stand to the lists.",
    )


class Sums(Shape):
    """Counts of a run that has ended."""

    done: list[str] = Field(default=[], description="Clips that were delivered.")
    unchanged: list[str] = Field(default=[], description="Clips that were there already.")
    set_aside: list[ClipError] = Field(default=[], description="Clips that were set aside.")
    failed: list[ClipError] = Field(default=[], description="Clips that failed.")
    left: Count = Field(default=0, description="Clips that are left to do.")
    stopped: bool = Field(default=False, description="Whether it was stopped before all was done.")
    stopped_how: str = Field(
        default="", description="How it was stopped, in words; may be empty where clips are left."
    )
    frames: Count = Field(
        default=0,
        description="Frames that were rendered for what is done: a clip's once for each part that it was made in, none where its sound alone was made.",
    )
    seconds: Number = Field(default=0.0, description="Time that it took, in seconds of the clock.")
    out: str = Field(default="", description="Output folder, or how many there are.")
    folders: Mapping[str, FolderSums] = Field(
        default={}, description="All lists of each output folder, by its path."
    )
    title: str = Field(default="", description="What the day is called; empty where no document says.")
    missing: list[Missing] = Field(
        default=[], description="What nobody states of clips that were set aside, said once a camera."
    )


Status = Literal["done", "partly", "refused", "stopped", "broken off", "paused", "late"]


class Summary(Sums):
    """Summary of a night, as commands get it. One that was refused or broke off has no more than the first five fields;
    one that is late has the forecast's."""

    schema_: Literal["rushlight-summary-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    status: Status = Field(
        description="done; partly: some clips were not delivered; refused; stopped; broken off by an error; paused; late."
    )
    error: str = Field(description="Why it was refused, broke off or pauses; empty where it ended well.")
    host: str = Field(description="Name of the machine that it ran on.")
    time: str = Field(description="When the summary was made (ISO 8601).")
    ready_by: str = Field(default="", description="Moment that it should be ready by (ISO 8601).")
    all_ready: str = Field(default="", description="Moment that all will be ready (ISO 8601).")
    ready: list[str] = Field(default=[], description="Clips that will be ready in time.")
    late: list[str] = Field(default=[], description="Clips that will be late.")
    measured: bool = Field(default=False, description="Whether the forecast rests on measured speed.")

    def plain(self) -> Plain:
        found = super().plain()
        return {key: found[key] for key in ("schema", "status", "error", "host", "time", *found)}


class ToldChange(Shape):
    """Something that has changed since the message before."""

    kind: Literal["begun", "restarted", "paused", "late", "needs you", "ready", "stopped", "done"] = Field(
        description="Which change it is, as `changes` of the day document has them."
    )
    text: str = Field(description="The same as a sentence.")


class ToldNeed(Shape):
    """Something that waits for a person."""

    what: str = Field(
        description="As in the state of the night: set aside, failed, paused, late, problem, card gone."
    )
    name: str = Field(description="Clip or card; empty for the run.")
    text: str = Field(description="What is wrong, in words.")


class ToldFolder(Shape):
    """An output folder of the day as it is now."""

    out: Name = Field(description="Its path on the machine that renders.")
    page: Name = Field(description="Path of its page there.")
    phase: NightPhase = Field(description="What the run does, as in the state of the night.")
    counts: NightCounts = Field(description="Clips in numbers.")
    ends: str = Field(default="", description="Forecast of its end (ISO 8601); empty where not known.")
    ready: list[str] = Field(description="Clips that are delivered, the newest first, 50 at most.")
    needs: list[ToldNeed] = Field(description="What waits for a person, 50 at most.")


class ToldData(Shape):
    """The message."""

    title: str = Field(description="What the day is called.")
    host: str = Field(description="Name of the machine that renders.")
    changes: list[ToldChange] = Field(default=[], description="What has changed; the weightiest first.")
    folders: list[ToldFolder] = Field(default=[], description="The output folders of the day.")
    text: str = Field(description="All of it as a text of several lines.")


class ToldMessage(Shape):
    """A message; its three outer fields are as the Standard Webhooks specification recommends them."""

    schema_: Literal["rushlight-told-1"] = Field(
        alias="schema", description="Schema and version of the document."
    )
    type: Name = Field(description="`night.` and the weightiest change, or `test`.")
    timestamp: Name = Field(description="When it was made (ISO 8601).")
    data: ToldData = Field(description="The message itself.")
