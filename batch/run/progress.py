"""Progress of a night as a person, a pipe or a script sees it, and the last summary."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.records.events import event_document
from rushlight.batch.run.events import Event, Summary
from rushlight.batch.terminal_or_log import Deaf, Words, is_terminal
from rushlight.pipelines.counted import counted
from rushlight.pipelines.visible_text import json_text, visible

__all__ = ["View", "duration", "view"]


def duration(seconds: float) -> str:
    """`4 s`, `3 min 20 s`, `2 h 05 min`."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02} min"


# Events that a person is told in a sentence of their own.
_NEWS = {
    "paused": "paused: {text}",
    "resumed": "no longer paused: {text}",
    "retry": "trying {clip} again: {text}",
    "waiting": "waiting: {text}",
    "changed": "{clip} changed and is read again: {text}",
    "late": "late: {text}",
    "in time": "in time again: {text}",
}


class View:
    """Plain lines: for pipes and logs. The base of the others."""

    def __init__(self, *, quiet: bool = False) -> None:
        self.quiet = quiet
        self.frames = 0
        self.total = 0
        self.clips = 0
        self.done = 0
        self.ended_clips = 0  # done, there already, failed or set aside
        self.noted = 0  # clips with warnings
        self.in_hand: dict[str, int] = {}  # clip -> frames made of it
        self.started = time.monotonic()
        self.next_line = 0.0
        self.watch: Callable[[Event], None] = lambda event: None  # is told every event first
        self.ended: dict[str, Any] = {}  # the last summary, or why there is none
        self.words = Words()

    def say(self, text: str, *, important: bool = False) -> None:
        """One line on standard output (important ones on standard error too quiet a run cannot hide)."""
        if important or not self.quiet:
            self.words.put(text, error=important)

    def problem(self, text: str) -> None:
        """Something wrong with the request."""
        self.say(f"rushlight: {text}", important=True)

    def refused(self, text: str) -> None:
        """The request as a whole was refused."""
        self.ended = {"error": text}
        self.say(f"rushlight: {text}", important=True)

    def warning(self, text: str) -> None:
        """Something to know."""
        self.say(f"note: {text}")

    def baked(self, count: int) -> None:
        """A look is ready."""

    def begin(self, *, clips: int, frames: int, workers: int) -> None:
        """Work starts."""
        self.clips, self.total, self.started = clips, frames, time.monotonic()
        self.frames = self.done = self.ended_clips = self.noted = 0
        self.in_hand.clear()
        self.say(f"{counted(clips, 'clip')}, {counted(frames, 'frame')}, {counted(workers, 'worker')}")

    def event(self, event: Event) -> None:
        """Something happened in the run."""
        self.watch(event)
        self.follow(event)
        if event.what in ("segment", "started"):
            now = time.monotonic()
            if event.what == "segment" and now >= self.next_line:
                self.next_line = now + 10
                self.say(self.pace())
        elif event.what == "done":
            self.done += 1
            self.say(f"done {event.clip} ({self.done} of {self.clips})")
            warnings = (event.record or {}).get("warnings", ())
            self.noted += bool(warnings)
            for text in warnings:
                self.say(f"  note: {text}")
            self.say_replaced(event)
        elif event.what in ("there", "part"):
            made = "made earlier, unchanged" if event.what == "there" else "partly done, more of it follows"
            self.say(f"{made}: {event.clip}")
        elif event.what in ("failed", "set aside"):
            self.say(f"{event.what} {event.clip}: {event.text}", important=True)
        elif event.what == "phase" and event.text:
            self.say(event.text)
        elif event.what == "stopping":
            self.say(f"rushlight: stopping: {event.text}", important=True)
        elif event.what in _NEWS:
            self.say(_NEWS[event.what].format(clip=event.clip, text=event.text), important=True)

    def follow(self, event: Event) -> None:
        """Count what an event says: frames made, clips in hand, clips that are over."""
        if event.what in ("segment", "started"):
            self.frames += event.frames
            self.in_hand[event.clip] = self.in_hand.get(event.clip, 0) + event.frames
        elif event.what in ("done", "there", "part", "failed", "set aside"):
            self.in_hand.pop(event.clip, None)
            self.ended_clips += event.what != "part"

    def in_hand_line(self) -> str:
        """The clips being rendered with the frames made of each, and how many wait."""
        waiting = counted(max(0, self.clips - self.ended_clips - len(self.in_hand)), "clip")
        now = ", ".join(f"{clip} ({counted(frames, 'frame')})" for clip, frames in self.in_hand.items())
        return visible(f"{waiting} waiting; " + (f"rendering {now}" if now else "none is being rendered yet"))

    def say_replaced(self, event: Event) -> None:
        """Say which outputs of a clip were replaced, why, and where they are now."""
        if replaced := (event.record or {}).get("replaced"):
            kept = sorted({r["kept"].partition("/" + r["output"])[0] for r in replaced if r["kept"]})
            now = f"kept in {', '.join(kept)}" if kept else "removed"
            self.say(
                f"  revision {event.record['revision']}: {replaced[0]['why']}; "  # type: ignore[index]
                f"{counted(len(replaced), 'file')} replaced, the old {now}"
            )

    def rate(self) -> float:
        """Frames a second since the start."""
        return self.frames / max(1e-6, time.monotonic() - self.started)

    def pace(self) -> str:
        """Frames, frames a second, time left."""
        rate = self.rate()
        left = (
            f"{duration((self.total - self.frames) / rate)} left"
            if rate > 0 and self.frames
            else "time left not known yet"
        )
        return f"{self.frames} of {self.total} frames, {rate:.1f} a second, {left}; {self.in_hand_line()}"

    def end(self) -> None:
        """Work is over."""

    def summary(
        self,
        *,
        plan: Plan,
        made: Summary | None,
        settled: list[PlannedClip],
        out: Path,
        seconds: float,
        folders: Mapping[str, Mapping[str, Any]] | None = None,
    ) -> None:
        """The last words: what is wrong first. `folders`: what all requests of each output folder come to."""
        self.ended = summary_document(plan, made, settled, out, seconds) | {"folders": dict(folders or {})}
        lines = summary_lines(plan, made, settled, out, seconds)
        if self.noted:
            lines.append(f"{counted(self.noted, 'clip')} with notes: see {out / 'report' / 'index.html'}")
        for folder, sums in (folders or {}).items():
            if sums["lists"] > 1:
                lines.append(f"{folder}, all {sums['lists']} lists: {sums_text(sums)}")
        for line in lines:
            self.words.put(line)


def sums_text(sums: Mapping[str, Any]) -> str:
    """Listed = delivered + set aside + failed + not yet, in words."""
    return (
        f"{counted(sums['listed'], 'clip')} listed = {sums['delivered']} delivered + {sums['set_aside']} set aside + "
        f"{sums['failed']} failed + {sums['not_yet']} not made yet"
    )


def summary_lines(
    plan: Plan, made: Summary | None, settled: list[PlannedClip], out: Path, seconds: float
) -> list[str]:
    """The summary in plain lines, exceptions first."""
    lines = []
    aside = [(row.clip, str(error)) for row, error in plan.wrong] + (made.set_aside if made else [])
    failed = [(row.clip, str(error)) for row, error in plan.broken] + (made.failed if made else [])
    for name, pairs in (("SET ASIDE", aside), ("FAILED", failed)):
        if pairs:
            lines.append(f"{name}: {counted(len(pairs), 'clip')}")
            lines += [f"  {clip}: {text}" if clip not in text else f"  {text}" for clip, text in pairs]
    if made and made.left:
        lines.append(f"STOPPED with {counted(made.left, 'clip')} left; the same command goes on from here")
    elif made and made.stopped:
        lines.append(f"STOPPED {made.stopped}; the same command makes what is missing")
    if made and made.done:
        lines.append(
            f"delivered {counted(len(made.done), 'clip')}, {counted(made.frames, 'frame')} in {duration(seconds)}, to {out}"
        )
    if settled:
        what = "nothing to render: " if not made else ""
        lines.append(f"{what}{counted(len(settled), 'clip')} made earlier and unchanged, in {out}")
    if not lines:
        lines.append("nothing to render: the list chooses no clip")
    return lines


def summary_document(
    plan: Plan, made: Summary | None, settled: list[PlannedClip], out: Path, seconds: float
) -> dict[str, Any]:
    """The summary in plain values, for scripts: every clip once, with its error where it has one."""
    return {
        "done": made.done if made else [],
        "unchanged": [c.row.clip for c in settled],
        "set_aside": [{"clip": r.clip, "error": str(e)} for r, e in plan.wrong]
        + [{"clip": c, "error": e} for c, e in (made.set_aside if made else [])],
        "failed": [{"clip": r.clip, "error": str(e)} for r, e in plan.broken]
        + [{"clip": c, "error": e} for c, e in (made.failed if made else [])],
        "left": made.left if made else 0,
        "stopped": bool(made and (made.left or made.stopped)),
        "frames": made.frames if made else 0,
        "seconds": round(seconds, 3),
        "out": str(out),
    }


class LiveView(View):
    """A terminal: a bar with frames, frames a second and time left, and the clips in hand, under lines that stay."""

    def __init__(self, *, quiet: bool = False) -> None:
        super().__init__(quiet=quiet)
        self._bar: Any = None

    def say(self, text: str, *, important: bool = False) -> None:
        if self._bar is not None and (important or not self.quiet):
            if not self.words.dead:
                self._bar.console.print(visible(text, lines=True), markup=False, highlight=False)
            if not self.words.dead:
                return
            self.end()  # the terminal is gone
        super().say(text, important=important)

    def begin(self, *, clips: int, frames: int, workers: int) -> None:
        super().begin(clips=clips, frames=frames, workers=workers)
        if self.quiet:
            return
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
        from rich.text import Text

        view = self

        class Bar(Progress):
            def get_renderables(self) -> Any:
                yield from super().get_renderables()
                yield Text(view.in_hand_line(), no_wrap=True, overflow="ellipsis")

        self._bar = Bar(
            TextColumn("{task.description}"),
            BarColumn(bar_width=24),
            MofNCompleteColumn(),
            TextColumn("frames {task.fields[speed]:>6} a second"),
            TimeRemainingColumn(compact=True),
            TextColumn("left"),
            console=Console(file=Deaf(sys.stdout, self.words)),  # type: ignore[arg-type]
        )
        self._task = self._bar.add_task(f"0/{clips} clips", total=frames, speed="-")
        self._bar.start()

    def event(self, event: Event) -> None:
        super().event(event)
        if self._bar is not None:
            self._bar.update(
                self._task,
                completed=self.frames,
                speed=f"{self.rate():.1f}",
                description=f"{self.done}/{self.clips} clips",
            )

    def pace(self) -> str:
        return "" if self._bar is not None else super().pace()

    def end(self) -> None:
        if self._bar is not None:
            self._bar.stop()
            self._bar = None


class JsonView(View):
    """One JSON event a line on standard output (batch/records/events.py); nothing else there."""

    sequence = 0

    def _emit(self, **data: Any) -> None:
        self.sequence += 1
        now = datetime.now().astimezone().isoformat(timespec="milliseconds")
        self.tell(event_document(sequence=self.sequence, time=now, data=data))

    def tell(self, document: dict[str, Any]) -> None:
        """An event, as a document."""
        self.words.put(json_text(document, indent=None))

    def say(self, text: str, *, important: bool = False) -> None:
        if important:
            self.words.put(text, error=True)

    def problem(self, text: str) -> None:
        self._emit(event="problem", text=text)

    def refused(self, text: str) -> None:
        self.ended = {"error": text}
        self._emit(event="refused", text=text)

    def warning(self, text: str) -> None:
        self._emit(event="warning", text=text)

    def begin(self, *, clips: int, frames: int, workers: int) -> None:
        super().begin(clips=clips, frames=frames, workers=workers)
        self._emit(event="begin", clips=clips, frames=frames, workers=workers)

    def event(self, event: Event) -> None:
        self.watch(event)
        self.follow(event)
        data: dict[str, Any] = {"event": event.what, "clip": event.clip}
        if event.text:
            data["text"] = event.text
        if event.record:
            data |= {
                "outputs": [o["path"] for o in event.record["outputs"]],
                "warnings": event.record["warnings"],
                "replaced": event.record.get("replaced", []),
            }
        data |= event.facts or {}
        if event.what == "segment":
            data |= {"frames": self.frames, "of": self.total, "per_second": round(self.rate(), 2)}
        self._emit(**data)

    def summary(
        self,
        *,
        plan: Plan,
        made: Summary | None,
        settled: list[PlannedClip],
        out: Path,
        seconds: float,
        folders: Mapping[str, Mapping[str, Any]] | None = None,
    ) -> None:
        self.ended = summary_document(plan, made, settled, out, seconds) | {"folders": dict(folders or {})}
        self._emit(event="summary", **self.ended)


def view(*, quiet: bool, as_json: bool) -> View:
    """The view for where the output goes."""
    if as_json:
        return JsonView(quiet=quiet)
    return (LiveView if is_terminal(sys.stdout) else View)(quiet=quiet)
