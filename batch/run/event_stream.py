"""Events of a night, numbered, to one listener: all that anybody outside the run hears of it (batch/records/events.py)."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Protocol

from rushlight.batch.interrupts import Stop, Stopped
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.records.events import EventDocument, event_document
from rushlight.batch.records.summary import ClipError, FolderSums, Sums
from rushlight.batch.records.watched_day import WatchedCard
from rushlight.batch.run.events import RENDERING, Event, Summary

__all__ = ["EventStream", "Follower", "summary_sums"]


class Follower(Protocol):
    """Somebody beside the listener who hears all events, and which folders are the run's. What it raises is dropped: it costs
    the night nothing."""

    def follow(self, document: EventDocument) -> None:
        """An event."""

    def hold(self, out: Path, queue: Path) -> None:
        """An output folder is this run's alone from now on, its jobs in that queue."""

    def let_go(self, out: Path) -> None:
        """It is about to be let go: nothing is left to do in it."""


class EventStream:
    """Tells events, from any thread, one at a time, on the thread that met them.

    What the listener raises stops the night in order and is kept in `raised`; it is told nothing after that.
    """

    def __init__(
        self, listener: Callable[[EventDocument], object] = lambda event: None, stop: Stop | None = None
    ) -> None:
        self.raised: BaseException | None = None
        self.summaries: list[Sums] = []  # one a list
        self.problems: list[str] = []
        self.ended: Sums | None = None  # the last summary
        self.refusal = ""  # why there is none
        self.watch: Callable[[Event], None] = lambda event: None  # is told every event of the run first
        self.followers: list[Follower] = []
        self._listener, self._stop = listener, stop or Stop()
        self._lock = threading.RLock()
        self._sequence = 0
        self._frames = self._of = self._told = self._kept = 0  # kept: made by an earlier run
        self._made: dict[str, int] = {}  # clip -> frames made of it
        self._begun = 0  # frames of all that was started
        self._started = time.monotonic()

    def _tell(self, event: str, **data: object) -> None:
        with self._lock:
            self._sequence += 1
            now = datetime.now().astimezone().isoformat(timespec="milliseconds")
            document = event_document(sequence=self._sequence, time=now, data={"event": event, **data})
            self._to_followers(lambda follower: follower.follow(document))
            if self.raised is not None:
                return
            try:
                self._listener(document)
            except Stopped:  # a signal, which comes anywhere
                raise
            except BaseException as error:
                self.raised = error
                if not self._stop.level:
                    self._stop.ask()

    def note(self, text: str) -> None:
        """A sentence on how it goes."""
        self._tell("note", text=text)

    def warning(self, text: str) -> None:
        """Something to know."""
        self._tell("warning", text=text)

    def problem(self, text: str) -> None:
        """Something wrong with the request."""
        self.problems.append(text)
        self._tell("problem", text=text)

    def faults(self, plan: Plan, rows: Iterable[tuple[str, str]]) -> None:
        """What is wrong with rows of a plan, as (clip, error); what nobody states of a camera is said once, not once a clip."""
        left, grouped = list(rows), set[str]()
        for each in plan.missing:
            if ours := {clip for clip, _ in left} & set(each.alone):
                grouped |= ours
                self.problem(each.said())
        for clip, error in left:
            if clip not in grouped:
                self.problem(error)

    def refused(self, text: str) -> None:
        """The request as a whole was refused; the caller raises that as well."""
        self.refusal = text
        self._tell("refused", text=text)

    def folder(self, out: Path, *, held_for: Path | None = None) -> None:
        """An output folder that is written to from now on; with `held_for` it is locked already, see `hold`."""
        self._tell("folder", out=str(out.resolve()))
        if held_for:
            self.hold(out, held_for)

    def hold(self, out: Path, queue: Path) -> None:
        """An output folder is locked for this run; its jobs are in that queue."""
        self._to_followers(lambda follower: follower.hold(out, queue))

    def let_go(self, out: Path) -> None:
        """An output folder is about to be unlocked."""
        self._to_followers(lambda follower: follower.let_go(out))

    def _to_followers(self, call: Callable[[Follower], object]) -> None:
        for follower in self.followers:
            with suppress(Exception):
                call(follower)

    def queued(self, clip_list: Path, *, clips: int, unchanged: int, set_aside: int, failed: int = 0) -> None:
        """Clips of a list joined the queue."""
        counts = {"clips": clips, "unchanged": unchanged, "set_aside": set_aside, "failed": failed}
        self._tell("queued", list=str(clip_list), **counts)

    def card(self, event: str, card: WatchedCard, text: str = "") -> None:
        """A card of a watched day arrives, is taken in, gone or back."""
        said = text or card.text
        self._tell(event, card=card.name, folder=card.folder, how=card.how, clips=card.clips, text=said)

    def report(self, page: Path) -> None:
        """The pages of an output folder are made."""
        self._tell("report", page=str(page))

    def begin(self, *, clips: int, frames: int, workers: int, parts: int = 0) -> None:
        """Work starts."""
        self._frames, self._of, self._started = 0, frames, time.monotonic()
        self._told = self._kept = self._begun = 0
        self._made.clear()
        self._tell("begin", clips=clips, frames=frames, parts=parts, workers=workers)

    def end(self) -> None:
        """Work is over; what is left is to be told."""
        self._tell("end")

    def event(self, event: Event) -> None:
        """Something happened in the run."""
        self.watch(event)
        if event.what == "warning":
            return self.warning(event.text)
        data: dict[str, object] = {"clip": event.clip}
        if event.text:
            data["text"] = event.text
        if event.record:
            data |= {
                "outputs": [entry.path for entry in event.record.outputs],
                "warnings": event.record.warnings,
                "replaced": [each.plain() for each in event.record.replaced],
                "revision": event.record.revision,
            }
        if event.what == "started":
            self._made[event.clip] = event.frames
            self._frames += event.frames
            self._kept += event.frames
            self._begun += event.of
            self._of = max(self._of, self._begun)  # clips joined since work began
            data |= {"frames": event.frames, "of": event.of}
        elif event.what == "segment":
            data |= self._segment(event)
        if event.forecast:
            data |= event.forecast.document() | {"measured": event.forecast.measured}
        if event.phase:
            data |= {**event.phase.document(), **self._so_far(event)}
        self._tell(event.what, **data)

    def _segment(self, event: Event) -> Mapping[str, int | float]:
        made = self._made[event.clip] = self._made.get(event.clip, 0) + event.frames
        self._frames += event.frames
        rate = (self._frames - self._kept) / max(1e-6, time.monotonic() - self._started)
        return {"frames": self._frames, "of": self._of, "per_second": round(rate, 2), "clip_frames": made}

    def _so_far(self, event: Event) -> Mapping[str, int]:
        """Of rendering, the frames made so far: those of segments, and the event's own of what is in hand. Never fewer than
        were told."""
        if event.phase is None or event.phase.name != RENDERING or event.phase.total:
            return {}
        self._told = max(self._told, min(self._of, self._frames + event.frames))
        return {"done": self._told, "total": self._of}

    def summary(
        self,
        *,
        plan: Plan,
        made: Summary | None,
        settled: list[PlannedClip],
        out: Path,
        seconds: float,
        folders: Mapping[str, FolderSums] | None = None,
    ) -> None:
        """The last words. `folders`: what all requests of each output folder come to."""
        self.ended = summary_sums(plan, made, settled, out, seconds, folders)
        self.summaries.append(self.ended)
        self._tell("summary", **self.ended.plain())


def summary_sums(
    plan: Plan,
    made: Summary | None,
    settled: list[PlannedClip],
    out: Path,
    seconds: float,
    folders: Mapping[str, FolderSums] | None = None,
) -> Sums:
    """The summary: every clip once, with its error where it has one."""
    aside = [(row.clip, str(error)) for row, error in plan.wrong] + (made.set_aside if made else [])
    failed = [(row.clip, str(error)) for row, error in plan.broken] + (made.failed if made else [])
    return Sums(
        done=made.done if made else [],
        unchanged=[clip.called for clip in settled],
        set_aside=[ClipError(clip=clip, error=error) for clip, error in aside],
        failed=[ClipError(clip=clip, error=error) for clip, error in failed],
        left=made.left if made else 0,
        stopped=bool(made and (made.left or made.stopped)),
        stopped_how=made.stopped if made else "",
        frames=made.frames if made else 0,
        seconds=round(seconds, 3),
        out=str(out),
        folders=dict(folders or {}),
        title=plan.title.text,
        missing=[each for each in plan.missing if {clip for clip, _ in aside} & set(each.clips)],
    )
