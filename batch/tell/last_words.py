"""The digest at the end of a night: how it ended."""

from __future__ import annotations

from collections.abc import Collection

from rushlight.batch.records.night_state import NightState
from rushlight.batch.tell.changes import Change
from rushlight.pipelines.counted import counted

__all__ = ["last_words"]


def last_words(states: Collection[NightState], *, error: str, stopped: bool, pauses: int) -> Change:
    """How a night ended. `error`: why it was refused or broke off."""
    counts = [state.counts for state in states]
    undone = sum(c.failed + c.set_aside for c in counts)
    left = sum(c.listed - c.delivered - c.failed - c.set_aside for c in counts)
    paused = f" It paused {pauses} times." if pauses > 1 else ""
    if error and not stopped:
        how = "Broken off" if states else "Nothing was made"
        return Change(kind="stopped", text=f"{how}: {error}.{paused}", short=how.lower(), last=True)
    if stopped:
        why = next((state.text for state in states if state.text), "")
        text = f"Stopped{f' ({why})' if why else ''}, {counted(left, 'clip')} left.{paused}"
        return Change(kind="stopped", text=text, short="stopped", last=True)
    text = "Done."
    if undone:
        text += f" {counted(undone, 'clip')} {'was' if undone == 1 else 'were'} not delivered."
    if left:
        text += f" {counted(left, 'clip')} left, held back or waiting."
    return Change(kind="done", text=text + paused, short="done", last=True)
