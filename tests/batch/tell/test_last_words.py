"""How a night ended, as the digest says it."""

from __future__ import annotations

from rushlight.batch.records.night_state import NOW, FramesMade, NightCounts, NightState
from rushlight.batch.tell.last_words import last_words


def state(text: str = "", **counts: int) -> NightState:
    whole = dict.fromkeys(("delivered", "running", "waiting", "held", "set_aside", "failed"), 0) | counts
    return NightState(
        schema=NOW,
        title="x",
        written="2026-11-27T03:12:00+01:00",
        phase="over",
        text=text,
        counts=NightCounts(listed=sum(whole.values()), **whole),
        frames=FramesMade(made=0, of=0),
    )


def test_all_of_it() -> None:
    found = last_words([state(delivered=3)], error="", stopped=False, pauses=1)
    assert (found.kind, found.text, found.short, found.last) == ("done", "Done.", "done", True)


def test_some_of_it_over_several_folders() -> None:
    found = last_words(
        [state(delivered=3, failed=1), state(set_aside=1, held=2)], error="", stopped=False, pauses=4
    )
    assert (
        found.text
        == "Done. 2 clips were not delivered. 2 clips left, held back or waiting. It paused 4 times."
    )


def test_a_stop_says_what_is_left() -> None:
    found = last_words(
        [state("by a signal", delivered=1, waiting=2)], error="Stopped", stopped=True, pauses=0
    )
    assert found.kind == "stopped" and found.text == "Stopped (by a signal), 2 clips left."


def test_an_error_says_itself() -> None:
    found = last_words([state(delivered=1)], error="lightning", stopped=False, pauses=0)
    assert (found.kind, found.short, found.text) == ("stopped", "broken off", "Broken off: lightning.")
    assert last_words([], error="no list", stopped=False, pauses=0).text == "Nothing was made: no list."
