"""People told of a night while it runs: follows its events and its folders' states, and sends from a thread of its own.

Whatever happens to a message, the night, its result and its exit code are as they would be without it: a fault is told as a warning
of the night, once for each text.
"""

from __future__ import annotations

import json
import platform
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from rushlight.batch.day.shooting_day import ShootingDay, load_day
from rushlight.batch.interrupts import Stopped, obeyed
from rushlight.batch.job_log import clock_text
from rushlight.batch.plan.request_ledger import read_askings
from rushlight.batch.records.events import EventDocument
from rushlight.batch.records.night_state import OVER, NightState
from rushlight.batch.tell.changes import Change, Facts, Gathering, facts_of
from rushlight.batch.tell.channels import channels_of
from rushlight.batch.tell.last_words import last_words
from rushlight.batch.tell.message import night_message
from rushlight.batch.tell.sending import Channel, deliver
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import read_bytes, write

__all__ = ["KEPT", "Telling", "day_title"]

STATE = "report/now.json"
KEPT = "log/told.json"  # when something was told last, so that a run that dies again and again is no flood
LOOK = 1.0  # seconds
END = 90.0  # seconds that the end of a night waits for what is being sent


def day_title(day: ShootingDay) -> str:
    """What a day is called in messages: its title, else its document's name."""
    return day.title.text or day.path.stem


@dataclass(kw_only=True)
class _Day:
    """A day whose people are told."""

    day: ShootingDay
    channels: list[Channel]
    gathering: Gathering
    states: dict[Path, NightState] = field(default_factory=dict)
    died: list[str] = field(default_factory=list)


class Telling:
    """Follower of a run's events. Give it to `EventStream.followers` ahead of the pages, `state` to those, and use it as a context
    manager around the run; `ended` makes the digest."""

    def __init__(self, warn: Callable[[str], object], day: ShootingDay | None = None) -> None:
        self._warn = warn
        self._days: dict[Path, _Day] = {}
        self._folders: dict[Path, Path] = {}  # output folder -> day document
        self._lock = threading.RLock()  # of all of these
        self._warned: set[str] = set()
        self._pauses, self._late = 0, ""
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._keep, name="telling", daemon=True)
        self._last: list[tuple[_Day, Change]] = []
        self._stopped = False
        self._given = day
        if day:
            self._know(day)  # its faults are said while somebody is there to mend them

    # --- what the run tells

    def follow(self, document: EventDocument) -> None:
        """An event of the run."""
        said = dict(document)
        with self._lock:
            match said["event"]:
                case "paused":
                    self._pauses += 1
                case "late" if said.get("measured"):  # the plan's guess alone wakes nobody
                    self._late = str(said.get("text", ""))
                case "in time" | "begin":
                    self._late = ""
                case "summary":
                    self._stopped = bool(said.get("stopped"))

    def hold(self, out: Path, queue: Path) -> None:
        """An output folder is this run's from now on. What its state says was written by an earlier run."""
        if out in self._folders:
            return
        before = _state_before(out)
        day = self._day_in(out)
        if day is None:
            return
        with self._lock:
            self._folders[out] = day.day.path.absolute()
            if before is None:
                return
            told = day.gathering.told
            needs = {(n.what, n.name, n.text) for n in before.needs if n.what not in ("paused", "late")}
            day.gathering.told = replace(told, needs=told.needs | needs)
            day.gathering.last = max(day.gathering.last, _kept(out)[0])
            if before.phase not in OVER:
                when = before.written[11:16]
                day.died.append(
                    f"The run before this one ended without a word at about {when}; this one goes on."
                )

    def let_go(self, out: Path) -> None:
        """A folder has nothing left to do; its last state says so."""

    def state(self, out: Path, state: NightState) -> None:
        """The state of a folder, as its page has it now."""
        with self._lock:
            path = self._folders.get(out)
            if path is not None:
                self._days[path].states[out] = state

    def ended(self, error: str, *, stopped: bool) -> None:
        """The night has ended, and its last states are there: the digest is sent. `error`: why it was refused or broke off."""
        with self._lock:
            for day in self._days.values():
                words = last_words(
                    day.states.values(),
                    error=error,
                    stopped=stopped or self._stopped,
                    pauses=self._pauses,
                )
                again = bool(error) and not stopped and self._told_already(day, words.text)
                if words.kind in day.gathering.changes and not again:
                    self._last.append((day, words))
        self._over.set()

    # --- around the run

    def __enter__(self) -> Telling:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        until = time.monotonic() + END
        try:
            with obeyed():
                while self._thread.is_alive() and time.monotonic() < until:
                    self._thread.join(0.2)
        except Stopped:
            self._say("the last message is not waited for: a signal came")
            return
        if self._thread.is_alive():
            self._say(f"the last message was not sent within {END:.0f} s")

    def _keep(self) -> None:
        while not self._over.wait(LOOK):
            self._guarded(lambda: self.look(time.time()))
        for day, words in self._last:
            self._guarded(partial(self._send_last, day, words))

    def _send_last(self, day: _Day, words: Change) -> None:
        self._send(day, [words, *self._unsaid(day)], dict(day.states), time.time())

    def _guarded(self, call: Callable[[], object]) -> None:
        try:
            call()
        except Exception as error:  # what nobody expected costs the night nothing
            self._say(f"a fault of rushlight's own: {type(error).__name__}")

    def look(self, now: float) -> None:
        """Send what is to be told now (`time.time`)."""
        with self._lock:
            due = [
                (day, changes, dict(day.states))
                for day in self._days.values()
                if (changes := day.gathering.due(self._facts(day), now))
            ]
        for day, changes, states in due:
            self._send(day, changes, states, now)

    def _unsaid(self, day: _Day) -> list[Change]:
        """What the digest is to say beside how it ended: an earlier run's death, which nobody was told of yet."""
        with self._lock:
            return [c for c in day.gathering.news(self._facts(day)) if c.kind == "restarted"]

    def _told_already(self, day: _Day, text: str) -> bool:
        """True if a run before this one has just ended by the same error: whoever starts it again and again is no flood."""
        now = time.time()
        kept = [_kept(out) for out in day.states or self._own_folders(day)]
        return any(last == text and 0 <= now - when < day.gathering.every for when, last in kept)

    def _own_folders(self, day: _Day) -> list[Path]:
        """The day's output folders that are there already."""
        with suppress(RushlightError, OSError):
            return [out for out in day.day.folders if out.is_dir()]
        return []

    def _facts(self, day: _Day) -> Facts:
        return facts_of(day.states.values(), pauses=self._pauses, late=self._late, died=tuple(day.died))

    def _send(self, day: _Day, changes: list[Change], states: Mapping[Path, NightState], now: float) -> None:
        message = night_message(
            title=day_title(day.day),
            host=platform.node() or "this machine",
            time=clock_text(now),
            changes=changes,
            states=states,
            page=day.day.document.tell.page,
        )
        last = next((change.text for change in changes if change.last), "")
        for out in states or self._own_folders(day):
            with suppress(OSError, RushlightError):
                write(out, KEPT, json.dumps({"told": now, "last": last}).encode())
        for channel in day.channels:
            answer = deliver(channel, message)
            if not answer.taken:
                self._say(f"{channel.name}: {answer.text}")

    def _know(self, day: ShootingDay) -> _Day | None:
        """A day with its channels; None where nobody is to be told, or nobody can be."""
        path, tell = day.path.absolute(), day.document.tell
        if path in self._days:
            return self._days[path]
        try:
            channels = channels_of(day)
        except RushlightError as error:
            self._say(str(error))
            return None
        if not channels:
            return None
        known = _Day(day=day, channels=channels, gathering=Gathering(tell.changes, tell.every * 60.0))
        self._days[path] = known
        return known

    def _day_in(self, out: Path) -> _Day | None:
        """The day that a folder is made of: the one that is run, where the folder is its own, else by the request that was read
        last."""
        given = self._given
        with suppress(OSError, RushlightError):
            if given and given.document.out and out in [folder.absolute() for folder in given.folders]:
                return self._know(given)
            days = [asking.day for asking in read_askings(out)[0] if asking.day]
            if days:
                path = Path(days[-1])
                return self._days.get(path) or self._know(load_day(path))
        return self._know(given) if given else None

    def _say(self, text: str) -> None:
        """A warning of the night, once: a problem would be told, and fail again."""
        if text not in self._warned:
            self._warned.add(text)
            self._warn(f"telling: {text}; the night is not touched by that")


def _state_before(out: Path) -> NightState | None:
    """The state that an earlier run has left in a folder."""
    with suppress(OSError, RushlightError, ValueError):
        return NightState.model_validate_json(read_bytes(out, STATE))
    return None


def _kept(out: Path) -> tuple[float, str]:
    """When something of a folder was told last (minus infinity where that is not known), and how the night ended by it."""
    with suppress(OSError, RushlightError, ValueError, TypeError, KeyError):
        kept = json.loads(read_bytes(out, KEPT))
        return float(kept["told"]), str(kept["last"])
    return float("-inf"), ""
