"""Changes of state, and when they are told: once each, and never a flood."""

from __future__ import annotations

import itertools
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.tell.changes import SETTLE, Change, Facts, Gathering
from rushlight.pipelines.recipe.tell_settings import CHANGES

EVERY = 900.0
FACTS = Facts(begun="Begun: 3 clips listed.")


def gathering(**options: object) -> Gathering:
    found = Gathering(CHANGES, EVERY, **options)  # type: ignore[arg-type]
    found.told = FACTS
    return found


def told_over(
    states: list[tuple[float, Facts]], gather: Gathering | None = None
) -> list[tuple[float, list[Change]]]:
    """What is told as a night goes through these states, looked at each second until an hour after the last."""
    gather, found = gather or gathering(), []
    moments = [when for when, _ in states] + [states[-1][0] + 3600]
    for (when, facts), until in zip(states, moments[1:], strict=True):
        now = when
        while now < until:
            if changes := gather.due(facts, now):
                found.append((now, changes))
            now += 1.0
    return found


def test_a_change_is_told_once_after_a_moment() -> None:
    ((when, (change,)),) = told_over([(0, FACTS), (100, replace(FACTS, paused="no room", pauses=1))])
    assert when == 100 + SETTLE and change.text == "Paused: no room." and change.short == "paused"


def test_a_burst_is_one_message_with_the_weightiest_first() -> None:
    facts, states = FACTS, [(0.0, FACTS)]
    for number in range(5):
        facts = replace(facts, needs=facts.needs | {("failed", f"A{number}", "broken")})
        states.append((100.0 + number, facts))
    states.append((106.0, replace(facts, paused="no room", pauses=1, late="by 06:00")))
    ((_, changes),) = told_over(states)
    assert [change.kind for change in changes] == ["paused", "needs you", "late"]
    assert len(changes[1].needs) == 5


def test_a_queue_that_pauses_fifty_times_in_a_minute_is_two_messages() -> None:
    states = [(0.0, FACTS)]
    for number in range(50):
        states.append((60 + number * 1.2, replace(FACTS, paused="no room", pauses=number + 1)))
        states.append((60.6 + number * 1.2, replace(FACTS, pauses=number + 1)))
    states[-1] = (states[-1][0], replace(FACTS, paused="no room", pauses=50))
    states.append((2000.0, replace(FACTS, pauses=50)))
    found = told_over(states)
    assert [c.short for _, changes in found for c in changes] == ["paused", "goes on"]
    assert "paused 50 times" in found[0][1][0].text


def test_a_queue_that_pauses_fifty_times_in_a_night_tells_less_and_less_often() -> None:
    """Half an hour each: a hundred changes in 25 hours, told once each at most, in a dozen messages."""
    states = [(0.0, FACTS)]
    for number in range(50):
        states.append((1000.0 + number * 1800, replace(FACTS, paused="no room", pauses=number + 1)))
        states.append((1900.0 + number * 1800, replace(FACTS, pauses=number + 1)))
    found = told_over(states)
    shorts = [c.short for _, changes in found for c in changes]
    assert all(a != b for a, b in itertools.pairwise(shorts)), "the same is never told twice"
    assert len(found) <= 14 and shorts[0] == "paused" and shorts[-1] == "goes on"


def test_what_is_new_in_kind_does_not_wait_for_that() -> None:
    gather = gathering(repeats=4, last=0.0, kinds={"paused"})
    paused = replace(FACTS, paused="no room", pauses=9)
    assert not any(gather.due(paused, now) for now in range(1000, 1200))
    both = replace(paused, needs=frozenset({("failed", "A", "broken")}))
    assert [c.kind for c in gather.due(both, 1201)] == ["paused", "needs you"]


def test_what_waits_for_a_person_is_told_once_though_it_goes_and_comes() -> None:
    gone = replace(FACTS, needs=frozenset({("card gone", "A001", "taken away")}))
    paused = replace(FACTS, paused="no room", pauses=1)
    found = told_over(
        [(0.0, FACTS), (100.0, gone), (2000.0, paused), (4000.0, replace(gone, paused="no room"))]
    )
    assert [c.text for _, changes in found for c in changes] == [
        "1 thing more needs a person.",
        "Paused: no room.",
    ]


def test_ready_is_told_again_once_there_was_more_to_do() -> None:
    ready = replace(FACTS, ready=3)
    found = told_over([(0.0, ready), (2000.0, FACTS), (2300.0, ready), (4000.0, ready)])
    assert [c.kind for _, changes in found for c in changes] == ["ready", "ready"]


def test_a_clock_that_is_set_back_does_not_silence_it() -> None:
    gather = gathering(last=1e9)
    paused = replace(FACTS, paused="no room", pauses=1)
    assert not gather.due(paused, 1000.0) and gather.due(paused, 1011.0)


def test_only_what_is_wanted_is_told() -> None:
    gather = Gathering({"done"}, EVERY)
    assert told_over([(0.0, replace(FACTS, paused="no room", pauses=1, late="x", ready=4))], gather) == []


@given(st.lists(st.tuples(st.floats(0.1, 500), st.booleans(), st.booleans(), st.sampled_from([None, 3, 4]))))
def test_there_are_never_more_messages_than_the_clock_allows(
    steps: list[tuple[float, bool, bool, int | None]],
) -> None:
    now, gather, moments, pauses = 0.0, gathering(), list[float](), 0
    for seconds, paused, late, ready in steps:
        now, pauses = now + seconds, pauses + paused
        facts = Facts(
            begun="x", paused="p" if paused else "", late="l" if late else "", ready=ready, pauses=pauses
        )
        if gather.due(facts, now):
            moments.append(now)
    assert all(b - a >= EVERY for a, b in itertools.pairwise(moments))
