"""Changes of state that people are told of: what has changed since the last message, and whether it is time for one.

A message says how things differ from what the one before said, not what happened in between: however often a queue has paused
meanwhile, that is one sentence. So there cannot be more messages than the clock allows.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace

from rushlight.batch.records.night_state import NightState
from rushlight.pipelines.counted import counted
from rushlight.pipelines.recipe.tell_settings import ChangeKind

__all__ = ["SETTLE", "Change", "Facts", "Gathering", "facts_of"]

SETTLE = 10.0  # seconds in which what comes together becomes one message
LONGER = 4  # how often the time between messages that say nothing new in kind doubles
WEIGHT: tuple[ChangeKind, ...] = (
    "stopped",
    "done",
    "restarted",
    "paused",
    "needs you",
    "late",
    "ready",
    "begun",
)
Need = tuple[str, str, str]  # what, name, text of what waits for a person


@dataclass(frozen=True, kw_only=True)
class Change:
    """Something to tell. `short` is for a title; `needs` are what waits for a person since; `last`: the night is over with it."""

    kind: ChangeKind
    text: str
    short: str
    needs: tuple[Need, ...] = ()
    last: bool = False


@dataclass(frozen=True, kw_only=True)
class Facts:
    """How a night stands, as far as people are told. Texts are empty where it is not so."""

    begun: str = ""
    paused: str = ""
    pauses: int = 0  # so far
    late: str = ""
    ready: int | None = None  # clips, once there is nothing left to do for now
    needs: frozenset[Need] = frozenset()
    died: tuple[str, ...] = ()  # sentences on runs before this one that ended without a word


def facts_of(states: Iterable[NightState], *, pauses: int, late: str, died: tuple[str, ...] = ()) -> Facts:
    """The facts of a day from the states of its folders. `late`: the forecast, where it rests on measured speed."""
    found = list(states)
    needs = {
        (need.what, need.name, need.text)
        for state in found
        for need in state.needs
        if need.what not in ("paused", "late")
    }
    counts = [state.counts for state in found]
    left = sum(c.running + c.waiting + c.arriving + c.waits_for_grade for c in counts)
    idle = bool(found) and all(state.phase in ("waiting", "over") for state in found)
    delivered = sum(c.delivered for c in counts)
    return Facts(
        begun=f"Begun: {counted(sum(c.listed for c in counts), 'clip')} listed." if found else "",
        paused=next((state.text for state in found if state.phase == "paused"), ""),
        pauses=pauses,
        late=late,
        ready=delivered if idle and delivered and not left else None,
        needs=frozenset(needs),
        died=died,
    )


@dataclass
class Gathering:
    """What a day's people were told, and when. Times are seconds as `time.time`; `changes` are the kinds that they want."""

    changes: Collection[ChangeKind]
    every: float
    told: Facts = field(default_factory=Facts)
    last: float = float("-inf")  # when a message was made
    since: float | None = None  # when there was first something to tell
    repeats: int = 0  # messages, one after the other, that said nothing new in kind
    kinds: set[ChangeKind] = field(default_factory=set)

    def due(self, facts: Facts, now: float) -> list[Change]:
        """The changes to tell now, the weightiest first; empty where there are none, or it is too early. They count as told."""
        if facts.ready is None:
            self.told = replace(self.told, ready=None)  # what is ready again later is news
        found = self.news(facts)
        if not found:
            self.since = None
            return []
        self.since = now if self.since is None or now < self.since else self.since
        again = all(c.kind in self.kinds and not c.needs and c.kind != "restarted" for c in found)
        gap = self.every * (2 ** min(self.repeats, LONGER) if again else 1)
        if now < self.since + SETTLE or self.last <= now < self.last + gap:
            return []
        self.repeats = self.repeats + 1 if again else 0
        self.take(facts, found, now)
        return found

    def take(self, facts: Facts, found: Iterable[Change], now: float) -> None:
        """These facts are told now."""
        self.told = replace(facts, needs=facts.needs | self.told.needs)
        self.kinds |= {change.kind for change in found}
        self.last, self.since = now, None

    def news(self, facts: Facts) -> list[Change]:
        """How the facts differ from what was told, of the kinds that are wanted; the weightiest first."""
        told, found = self.told, list[Change]()
        for text in facts.died[len(told.died) :]:
            found.append(Change(kind="restarted", text=text, short="ended unexpectedly, goes on"))
        if facts.paused and not told.paused:
            times = facts.pauses - told.pauses
            more = f" It has paused {times} times since the last message." if times > 1 else ""
            found.append(Change(kind="paused", text=f"Paused: {facts.paused}.{more}", short="paused"))
        elif told.paused and not facts.paused:
            found.append(Change(kind="paused", text="It goes on after its pause.", short="goes on"))
        if facts.late and not told.late:
            found.append(Change(kind="late", text=f"Late: {facts.late}.", short="will be late"))
        elif told.late and not facts.late:
            found.append(Change(kind="late", text="It will be in time after all.", short="in time after all"))
        if new := sorted(facts.needs - told.needs):
            text = f"{counted(len(new), 'thing')} more {'needs' if len(new) == 1 else 'need'} a person."
            found.append(Change(kind="needs you", text=text, short="needs you", needs=tuple(new)))
        if facts.ready is not None and facts.ready != told.ready:
            text = f"Nothing is left to do for now: {counted(facts.ready, 'clip')} ready."
            found.append(Change(kind="ready", text=text, short="ready for now"))
        if facts.begun and not told.begun:
            found.append(Change(kind="begun", text=facts.begun, short="begun"))
        wanted = [change for change in found if change.kind in self.changes]
        return sorted(wanted, key=lambda change: WEIGHT.index(change.kind))
