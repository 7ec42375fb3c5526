"""What a run says of itself, followed from its events: the phase, the frame that each clip is at, when it ends, what stops it."""

from __future__ import annotations

from dataclasses import dataclass, field

from rushlight.batch.records.events import (
    EVENTS,
    AnyEvent,
    Begun,
    ClipTold,
    Delivered,
    Ended,
    EventDocument,
    Forecast,
    PhaseTold,
    RunTold,
    SegmentMade,
    Started,
    Told,
)
from rushlight.batch.records.night_state import NightPhase, PersonNeeded

__all__ = ["RunWords"]

MOST = 50  # problems that are kept


@dataclass
class RunWords:
    """The words so far. Not for several threads."""

    begun: str = ""  # ISO 8601, as all moments here
    phase: NightPhase = "planning"
    text: str = ""
    ends: str = ""
    ready_by: str = ""
    made: int = 0  # frames
    of: int = 0
    frames: dict[str, tuple[int, int]] = field(default_factory=dict)  # clip in hand -> frames made, in all
    paused: str = ""
    late: str = ""
    waits: list[str] = field(default_factory=list)  # for a folder, or for an original that grows
    problems: list[str] = field(default_factory=list)

    def follow(self, document: EventDocument) -> None:
        """Take in an event."""
        event: AnyEvent = EVENTS.validate_python(document)
        self.begun = self.begun or event.time
        match event:
            case Told(event="problem") if len(self.problems) < MOST and event.text not in self.problems:
                self.problems.append(event.text)
            case Begun():
                self.made, self.of, self.phase, self.text = 0, event.frames, "rendering", ""
                self.waits.clear()
            case PhaseTold():
                self._phase(event)
            case Forecast():
                self.late = event.text if event.event == "late" else ""
                self.ready_by, self.ends = event.ready_by, event.all_ready
            case RunTold():
                self._told(event)
            case Ended():
                self.phase = "stopped" if event.stopped else "over"
                self.text, self.ends, self.paused, self.late = event.stopped_how, "", "", ""
                self.frames.clear()
            case Started() | SegmentMade() | Delivered() | ClipTold():
                self._clip(event)

    def broke_off(self, text: str) -> None:
        """The run has ended without its last words."""
        if self.phase not in ("over", "stopped"):
            self.phase, self.text, self.ends, self.paused = "broken off", text, "", ""
            self.frames.clear()

    def needs(self) -> list[PersonNeeded]:
        """What of the run as a whole waits for a person."""
        found = [PersonNeeded(what="paused", text=self.paused)] if self.paused else []
        found += [PersonNeeded(what="late", text=self.late)] if self.late else []
        return found + [PersonNeeded(what="problem", text=text) for text in self.problems]

    def _phase(self, event: PhaseTold) -> None:
        self.phase, self.text = event.phase, event.text
        if event.phase == "rendering":
            self.made, self.of, self.ends = event.done, event.total, event.ends
            self.frames |= {each.clip: (each.done, each.total) for each in event.clips}
        elif (
            event.phase == "pages" and event.done == event.total
        ):  # nothing is left to do, until more joins in
            self.phase, self.ends = "waiting", ""
        elif event.phase == "preparing this machine":
            self.text = self.text or "compiling, once"

    def _told(self, event: RunTold) -> None:
        if event.event == "paused":
            self.paused = event.text
        elif event.event == "resumed":
            self.paused = ""
        elif event.event == "stopping":
            self.phase, self.text = "stopping", event.text
        elif event.text not in self.waits:
            self.waits.append(event.text)

    def _clip(self, event: Started | SegmentMade | Delivered | ClipTold) -> None:
        if self.phase in ("planning", "preparing this machine", "waiting", "checking", "pages"):
            self.phase, self.text = "rendering", ""
        match event:
            case Started():
                self.frames[event.clip] = event.frames, event.of
            case SegmentMade():
                of = self.frames.get(event.clip, (0, 0))[1]
                self.frames[event.clip] = event.clip_frames, of
                self.made, self.of = max(self.made, event.frames), event.of
            case Delivered():
                self.frames.pop(event.clip, None)
            case ClipTold(event="failed" | "set aside" | "changed"):
                self.frames.pop(event.clip, None)
