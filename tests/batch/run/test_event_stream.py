"""Events of a night: numbered, counted, valid by their published schema; and a listener that raises."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any, get_args

import pytest

from recorded import movie, recorded
from rushlight.batch.interrupts import Stop, Stopped
from rushlight.batch.plan.model import Plan
from rushlight.batch.records.events import EVENTS, EventDocument
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.watched_day import WatchedCard
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Event, Summary, phase
from rushlight.batch.run.forecast import Forecast

GONE = {"output": "viewing", "path": "viewing/a.mp4", "revision": 1, "kept": "revisions/1/viewing/a.mp4", "why": "grade"}  # fmt: skip
RECORD = DeliveredRecord.read(
    recorded("a", movie(path="viewing/a.mp4"), warnings=["ungraded"], revision=2, replaced=[GONE])
)
FORECAST = Forecast(by=1.8e9, end=1.8e9 + 60, ready=(), late=("a",), measured=True)
OF_A_CLIP = ("there", "failed", "set aside", "changed", "waits for a grade", "retry")
OF_A_CARD = ("card arriving", "card taken in", "card gone", "card back")
OF_THE_RUN = ("waiting", "paused", "resumed", "stopping")


def tell_all(events: EventStream) -> None:
    """Every kind of event there is."""
    for tell in (events.note, events.warning, events.problem, events.refused):
        tell("words")
    events.folder(Path("out"))
    events.queued(Path("day.csv"), clips=3, unchanged=1, set_aside=0)
    events.begin(clips=3, frames=100, workers=2)
    events.event(Event(what="started", clip="a", frames=10))
    events.event(Event(what="segment", clip="a", frames=30))
    events.event(Event(what="segment", clip="b", frames=5))
    events.event(Event(what="segment", clip="a", frames=20))
    for what in ("part", "done"):
        events.event(Event(what=what, clip="a", record=RECORD))
    for what in OF_A_CLIP:
        events.event(Event(what=what, clip="b", text="why"))
    card = WatchedCard(folder="/media/A001", name="A001", state="arriving", how="by manifest", clips=3)
    for what in OF_A_CARD:
        events.card(what, card, "why")
    for what in OF_THE_RUN:
        events.event(Event(what=what, text="why"))
    for what in ("late", "in time"):
        events.event(Event(what=what, text="words", forecast=FORECAST))
    events.event(phase("rendering", 1, 3, text="rendering", ends=1.8e9))
    events.end()
    events.report(Path("out/report/index.html"))
    made = Summary(done=["a"], failed=[("b", "why")], frames=65, stopped="by a signal")
    events.summary(plan=Plan(), made=made, settled=[], out=Path("out"), seconds=1.5)


def kinds() -> set[str]:
    """Of the published schema."""
    union = get_args(EVENTS._type)[0]
    return {kind for model in get_args(union) for kind in get_args(model.model_fields["event"].annotation)}


def test_every_kind_of_event_is_valid_numbered_and_has_no_field_beside_its_schema() -> None:
    told: list[EventDocument] = []
    tell_all(EventStream(told.append))
    assert {event["event"] for event in told} == kinds()
    assert [event["sequence"] for event in told] == list(range(1, len(told) + 1))
    for event in told:
        model = EVENTS.validate_python(event)
        assert not model.model_extra, (event["event"], model.model_extra)


def test_frames_are_counted_in_all_and_of_each_clip() -> None:
    told: list[EventDocument] = []
    tell_all(EventStream(told.append))
    counts = [(e["clip"], e["frames"], e["clip_frames"], e["of"]) for e in told if e["event"] == "segment"]
    assert counts == [("a", 40, 40, 100), ("b", 45, 5, 100), ("a", 65, 60, 100)]


def test_of_a_clip_made_in_parts_that_joined_later_each_part_counts() -> None:
    told: list[EventDocument] = []
    events = EventStream(told.append)
    events.begin(clips=0, frames=0, workers=1)
    for _ in range(2):
        events.event(Event(what="started", clip="a", of=24))
        events.event(Event(what="segment", clip="a", frames=24))
    events.event(phase("rendering", 0, 0))
    assert (told[-1]["done"], told[-1]["total"]) == (48, 48)


def test_what_hooks_and_results_are_told() -> None:
    events = EventStream()
    tell_all(events)
    assert events.problems == ["words"]
    assert [s.done for s in events.summaries] == [["a"]]
    assert events.ended and (events.ended.stopped, events.ended.stopped_how) == (True, "by a signal")
    again = EventStream()
    again.refused("why")
    assert (again.ended, again.refusal) == (None, "why")


def test_a_listener_that_raises_stops_the_night_and_is_told_nothing_more() -> None:
    stop, told = Stop(), list[str]()

    def fails(event: EventDocument) -> None:
        told.append(event["text"])
        raise OSError("the caller's own")

    events = EventStream(fails, stop)
    events.note("one")
    events.problem("two")
    assert (told, stop.level, str(events.raised)) == (["one"], 1, "the caller's own")
    assert events.problems == ["two"]


def test_a_signal_while_the_listener_works_is_no_fault_of_its() -> None:
    def struck(event: EventDocument) -> None:
        raise Stopped

    stop = Stop()
    events = EventStream(struck, stop)
    with pytest.raises(Stopped):
        events.note("one")
    assert (events.raised, stop.level) == (None, 0)


def test_threads_tell_one_at_a_time() -> None:
    told: list[Any] = []
    inside = threading.Lock()

    def listener(event: EventDocument) -> None:
        assert inside.acquire(blocking=False)
        told.append(event["sequence"])
        inside.release()

    events = EventStream(listener)
    threads = [threading.Thread(target=lambda: [events.note("x") for _ in range(50)]) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert events.raised is None
    assert told == list(range(1, 201))


def test_followers_hear_all_and_which_folders_are_the_runs_and_cost_it_nothing() -> None:
    class Heard:
        def __init__(self) -> None:
            self.told: list[object] = []

        def follow(self, document: EventDocument) -> None:
            self.told.append(document["event"])

        def hold(self, out: Path, queue: Path) -> None:
            self.told.append((out, queue))

        def let_go(self, out: Path) -> None:
            self.told.append(out)

    class Broken(Heard):
        def follow(self, document: EventDocument) -> None:
            raise ValueError

        hold = let_go = follow  # type: ignore[assignment]

    told, follower = list[EventDocument](), Heard()
    events = EventStream(told.append)
    events.followers += [Broken(), follower]
    events.folder(Path("out"), held_for=Path("q"))
    events.note("one")
    events.let_go(Path("out"))
    assert follower.told == ["folder", (Path("out"), Path("q")), "note", Path("out")]
    assert [document["event"] for document in told] == ["folder", "note"] and events.raised is None


def test_something_to_know_is_a_warning_of_the_run_as_a_whole() -> None:
    told: list[EventDocument] = []
    EventStream(told.append).event(Event(what="warning", text="on cart the processor grades"))
    assert [(e["event"], e["text"], "clip" in e) for e in told] == [
        ("warning", "on cart the processor grades", False)
    ]
