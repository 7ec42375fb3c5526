"""Progress of a night as a person, a pipe or a script sees it, and the last summary: listeners of its events."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.records.events import (
    EVENTS,
    AnyEvent,
    Begun,
    CardTold,
    ClipTold,
    Delivered,
    Ended,
    EventDocument,
    FolderTaken,
    Forecast,
    Over,
    PhaseTold,
    Queued,
    Reported,
    RunTold,
    SegmentMade,
    Started,
    Told,
)
from rushlight.batch.records.summary import FolderSums
from rushlight.batch.terminal.terminal_or_log import Deaf, Words, is_terminal
from rushlight.pipelines.counted import counted
from rushlight.pipelines.visible_text import json_text, visible

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.progress import Progress

__all__ = ["JsonView", "LiveView", "View", "duration", "view"]


def duration(seconds: float) -> str:
    """`4 s`, `3 min 20 s`, `2 h 05 min`."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02} min"


# What a line says ahead of an event's own words.
_SAID = {"note": "", "warning": "note: ", "problem": "rushlight: "}
_NEWS = {
    "failed": "failed {clip}: {text}",
    "set aside": "set aside {clip}: {text}",
    "stopping": "rushlight: stopping: {text}",
    "paused": "paused: {text}",
    "resumed": "no longer paused: {text}",
    "retry": "trying {clip} again: {text}",
    "waiting": "waiting: {text}",
    "changed": "{clip} changed and is read again: {text}",
    "waits for a grade": "{clip} waits for a grade",
    "late": "late: {text}",
    "in time": "in time again: {text}",
}


class View:
    """Plain lines: for pipes and logs. The base of the others."""

    def __init__(self, *, quiet: bool = False) -> None:
        self.quiet = quiet
        self.words = Words()
        self.next_line = 0.0
        self._at_the_start()

    def _at_the_start(self, clips: int = 0, frames: int = 0) -> None:
        self.clips, self.total, self.started = clips, frames, time.monotonic()
        self.frames = 0  # made
        self.kept = 0  # of these, made by an earlier run
        self.done = 0
        self.ended_clips = 0  # done, there already, failed or set aside
        self.noted = 0  # clips with warnings
        self.in_hand: dict[str, int] = {}  # clip -> frames made of it
        self.whole: dict[str, int] = {}  # clip -> its frames, where they are known
        self.ends = ""  # when all is made, by the speed so far (ISO 8601)

    def __call__(self, document: EventDocument) -> None:
        """Tell an event."""
        self.tell(EVENTS.validate_python(document))

    def tell(self, event: AnyEvent) -> None:
        """Tell an event that was read."""
        self.follow(event)
        match event:
            case FolderTaken():
                self.words.to(Path(event.out))
            case Begun():
                self.begin(workers=event.workers, parts=event.parts)
            case SegmentMade():
                self.say_pace()
            case Delivered():
                self.say_delivered(event)
            case Queued():
                self.say_queued(event)
            case Reported():
                self.say(f"report: {event.page}")
            case Told():
                if event.event in _SAID:
                    self.say(_SAID[event.event] + event.text, important=event.event == "problem")
            case ClipTold() | RunTold() | Forecast():
                text = _NEWS[event.event].format(clip=event.clip, text=event.text)
                self.say(text, important=True)
            case CardTold():
                self.say_card(event)
            case PhaseTold():
                if event.text:
                    self.say(event.text)
                if event.phase == "rendering":
                    self.say_pace()
            case Over():
                self.end()
            case Ended():
                self.summary(event)

    def follow(self, event: AnyEvent) -> None:
        """Count what an event says: frames made, clips in hand, clips that are over."""
        match event:
            case Begun():
                self._at_the_start(event.clips, event.frames)
            case Started():
                self.frames += event.frames
                self.kept += event.frames
                self.in_hand[event.clip] = event.frames
                self.whole[event.clip] = event.of
            case SegmentMade():
                self.frames = max(self.frames, event.frames)
                self.in_hand[event.clip] = event.clip_frames
            case PhaseTold(phase="rendering"):
                self.frames, self.ends = event.done, event.ends
                self.in_hand |= {each.clip: each.done for each in event.clips}
            case Delivered():
                self.in_hand.pop(event.clip, None)
                self.ended_clips += event.event != "part"
                self.done += event.event == "done"
                self.noted += event.event == "done" and bool(event.warnings)
            case ClipTold(event="failed" | "set aside"):
                self.in_hand.pop(event.clip, None)
                self.ended_clips += 1

    def say_pace(self) -> None:
        """Say how it goes, every ten seconds."""
        now = time.monotonic()
        if now >= self.next_line:
            self.next_line = now + 10
            if line := self.pace():
                self.say(line)

    def say(self, text: str, *, important: bool = False) -> None:
        """One line on standard output; an important one on standard error, from a quiet run too."""
        if important or not self.quiet:
            self.words.put(text, error=important)

    def begin(self, *, workers: int, parts: int) -> None:
        """Work starts."""
        clips = counted(self.clips, "clip") + (f" in {parts} parts" if parts > self.clips else "")
        what = f"rendering {clips}, {counted(self.total, 'frame')}"
        if not self.total:
            what = f"finishing {clips}, no frame to render" if self.clips else "waiting for clips to render"
        self.say(f"{what}, {counted(workers, 'worker')}")

    def say_delivered(self, event: Delivered) -> None:
        """A clip is delivered: what is to be known of it, what of it was replaced, why, and where that is now."""
        if event.event != "done":
            made = "made earlier, unchanged" if event.event == "there" else "partly done, more of it follows"
            self.say(f"{made}: {event.clip}")
            return
        self.say(f"done {event.clip} ({self.done} {'so far' if self.joined else f'of {self.clips}'})")
        for text in event.warnings:
            self.say(f"  note: {text}")
        if replaced := event.replaced:
            kept = sorted({r.kept.partition("/" + r.output)[0] for r in replaced if r.kept})
            now = f"kept in {', '.join(kept)}" if kept else "removed"
            self.say(
                f"  revision {event.revision}: {'; '.join(dict.fromkeys(r.why for r in replaced))}; "
                f"{counted(len(replaced), 'file')} replaced, the old {now}"
            )

    def say_card(self, event: CardTold) -> None:
        """A card arrives, is taken in, gone or back."""
        match event.event:
            case "card taken in":
                clips = counted(event.clips, "clip")
                self.say(
                    f"card {event.card} taken in, {event.how}: {clips}"
                    + (f" ({event.text})" if event.text else "")
                )
            case "card gone":
                self.say(f"card {event.card} is gone: {event.text or event.folder}", important=True)
            case "card back":
                self.say(f"card {event.card} is back")
            case "card arriving":
                self.say(f"card {event.card} is arriving: {event.text}")

    def say_queued(self, event: Queued) -> None:
        """Clips of a list joined the queue."""
        others = {"made earlier": event.unchanged, "set aside": event.set_aside, "failed": event.failed}
        more = "".join(f", {count} {what}" for what, count in others.items() if count)
        self.say(f"{event.list}: {counted(event.clips, 'clip')} queued{more}")

    def in_hand_line(self) -> str:
        """The clips being rendered with the share made of each, and how many wait."""
        waiting = counted(max(0, self.clips - self.ended_clips - len(self.in_hand)), "clip")
        now = ", ".join(f"{clip} ({self._share(clip, made)})" for clip, made in self.in_hand.items())
        if self.joined:
            return visible(f"rendering {now}" if now else "none is being rendered now")
        return visible(f"{waiting} waiting; " + (f"rendering {now}" if now else "none is being rendered yet"))

    def _share(self, clip: str, made: int) -> str:
        whole = self.whole.get(clip, 0)
        return f"{100 * min(made, whole) // whole} %" if whole else counted(made, "frame")

    @property
    def joined(self) -> bool:
        """True if clips joined after the start, as they do in a day: nobody knows how many will."""
        return len(self.whole) > self.clips

    def rate(self) -> float:
        """Frames a second since the start."""
        return max(0, self.frames - self.kept) / max(1e-6, time.monotonic() - self.started)

    def left(self) -> str:
        """Time left, and the clock time of the end: known once a frame of this run is made."""
        rate = self.rate()
        if self.total and self.frames >= self.total and not self.joined:
            return "all frames made, their files are being finished"
        if rate and self.ends:
            ends = datetime.fromisoformat(self.ends)
            seconds = max(1.0, ends.timestamp() - time.time())
            return f"{duration(seconds)} left, until {ends.astimezone():%H:%M}"
        if rate and not self.joined:
            return f"{duration(max(1.0, (self.total - self.frames) / rate))} left"
        return "time left not known yet"

    def pace(self) -> str:
        """Frames, frames a second, time left, and when that is."""
        made = (
            f"{counted(self.frames, 'frame')} made"
            if self.joined
            else f"{self.frames} of {self.total} frames"
        )
        return f"rendering: {made}, {self.rate():.1f} a second, {self.left()}; {self.in_hand_line()}"

    def end(self) -> None:
        """Work is over."""

    def summary(self, event: Ended) -> None:
        """The last words: what is wrong first."""
        lines = summary_lines(event, begun=self.clips > 0)
        if self.noted:
            several = len(event.folders) > 1
            page = "the report of each folder" if several else Path(event.out) / "report" / "index.html"
            lines.append(f"{counted(self.noted, 'clip')} with notes: see {page}")
        for folder, sums in event.folders.items():
            if sums.lists > 1:
                lines.append(f"{folder}, all {sums.lists} lists: {sums_text(sums)}")
        for line in lines:
            self.words.put(line)
        self._at_the_start()


def sums_text(sums: FolderSums) -> str:
    """Listed = delivered + set aside + failed + not yet, in words."""
    return (
        f"{counted(sums.listed, 'clip')} listed = {sums.delivered} delivered + {sums.set_aside} set aside + "
        f"{sums.failed} failed + {sums.not_yet} not made yet"
    )


def summary_lines(event: Ended, *, begun: bool) -> list[str]:
    """The summary in plain lines, exceptions first. `begun`: work on some clip was begun."""
    lines = []
    grouped = {clip for each in event.missing for clip in each.alone}
    for name, rows in (("SET ASIDE", event.set_aside), ("FAILED", event.failed)):
        if rows:
            lines.append(f"{name}: {counted(len(rows), 'clip')}")
            lines += [
                f"  {each.said(' ' * 6)}" for each in event.missing if each.alone and rows is event.set_aside
            ]
            for row in (row for row in rows if row.clip not in grouped or rows is event.failed):
                lines.append(f"  {row.clip}: {row.error}" if row.clip not in row.error else f"  {row.error}")
    if event.left:
        lines.append(f"STOPPED with {counted(event.left, 'clip')} left; the same command goes on from here")
    elif event.stopped_how:
        lines.append(f"STOPPED {event.stopped_how}; the same command makes what is missing")
    if event.done:
        frames = f", {counted(event.frames, 'frame')}" if event.frames else ""
        made = f"{counted(len(event.done), 'clip')}{frames} in {duration(event.seconds)}"
        lines.append(f"delivered {made}, to {event.out}")
    if event.unchanged:
        nothing = "" if begun or event.done or event.stopped else "nothing to render: "
        lines.append(
            f"{nothing}{counted(len(event.unchanged), 'clip')} made earlier and unchanged, in {event.out}"
        )
    listed = any(sums.listed for sums in event.folders.values())
    return lines or [
        "nothing new was to be made" if listed else "nothing to render: the list chooses no clip"
    ]


class LiveView(View):
    """A terminal: a bar with frames and frames a second, the time left and the clips in hand, under lines that stay."""

    def __init__(self, *, quiet: bool = False) -> None:
        super().__init__(quiet=quiet)
        self._bar: Progress | None = None

    def tell(self, event: AnyEvent) -> None:
        super().tell(event)
        if self._bar is not None:
            self._bar.update(
                self._task,
                completed=self.frames,
                total=max(self.total, self.frames) if self.total else None,
                speed=f"{self.rate():.1f}",
                description=f"{counted(self.done, 'clip')}"
                if self.joined
                else f"{self.done}/{self.clips} clips",
            )

    def say(self, text: str, *, important: bool = False) -> None:
        if self._bar is not None and (important or not self.quiet):
            if not self.words.dead:
                self._bar.console.print(visible(text, lines=True), markup=False, highlight=False)
            if not self.words.dead:
                return
            self.end()  # the terminal is gone
        super().say(text, important=important)

    def begin(self, *, workers: int, parts: int) -> None:
        super().begin(workers=workers, parts=parts)
        if self.quiet:
            return
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
        from rich.text import Text

        view = self

        class Bar(Progress):
            def get_renderables(self) -> Iterator[RenderableType]:
                yield from super().get_renderables()
                yield Text(f"{view.left()}; {view.in_hand_line()}", no_wrap=True, overflow="ellipsis")

        self._bar = Bar(
            TextColumn("{task.description}"),
            BarColumn(bar_width=24),
            MofNCompleteColumn(),
            TextColumn("frames {task.fields[speed]:>6} a second"),
            console=Console(file=Deaf(sys.stdout, self.words)),  # type: ignore[arg-type]
        )
        self._task = self._bar.add_task(f"0/{self.clips} clips", total=self.total or None, speed="-")
        self._bar.start()

    def pace(self) -> str:
        return "" if self._bar is not None else super().pace()

    def end(self) -> None:
        if self._bar is not None:
            self._bar.stop()
            self._bar = None


class JsonView(View):
    """One JSON event a line on standard output; nothing else there."""

    def __call__(self, event: EventDocument) -> None:
        if event["event"] == "folder":
            self.words.to(Path(str(event["out"])))
        self.words.put(json_text(event, indent=None))


def view(*, quiet: bool, as_json: bool) -> View:
    """The view for where the output goes."""
    if as_json:
        return JsonView(quiet=quiet)
    return (LiveView if is_terminal(sys.stdout) else View)(quiet=quiet)
