"""What a run says of itself, from its events."""

from pathlib import Path

from rushlight.batch.live.run_words import RunWords
from rushlight.batch.plan.model import Plan
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import CHECKING, PAGES, PLANNING, RENDERING, Event, Phase, Summary, phase
from rushlight.batch.run.forecast import Forecast


def night() -> tuple[RunWords, EventStream]:
    words = RunWords()
    return words, EventStream(words.follow)


def test_a_night_from_the_list_to_its_last_words() -> None:
    words, events = night()
    events.event(phase(PLANNING, 0, 2, text="planning 2 clips"))
    assert (words.phase, words.text) == ("planning", "planning 2 clips") and words.begun
    events.begin(clips=2, frames=96, workers=2)
    events.event(Event(what="started", clip="a", of=48))
    assert words.phase == "rendering" and words.frames == {"a": (0, 48)}
    events.event(Event(what="segment", clip="a", frames=24))
    assert words.frames == {"a": (24, 48)} and (words.made, words.of) == (24, 96)
    told = Phase(name=RENDERING, done=0, total=0, ends=1e9, clips=(("a", 30, 48), ("b", 6, 48)))
    events.event(Event(what="phase", frames=12, phase=told))
    assert (
        words.frames == {"a": (30, 48), "b": (6, 48)}
        and words.made == 36
        and words.ends.startswith("2001-09-0")
    )
    events.event(Event(what="done", clip="a"))
    events.event(Event(what="failed", clip="b", text="its original is damaged"))
    assert words.frames == {}
    events.event(phase(CHECKING, 1, 2))
    assert words.phase == "checking"
    events.event(phase(PAGES, 0, 2, text="making the pages"))
    assert words.phase == "pages"
    events.event(phase(PAGES, 2, 2))
    assert words.phase == "waiting"
    events.summary(plan=Plan(), made=Summary(done=["a"]), settled=[], out=Path("out"), seconds=1.0)
    assert (words.phase, words.ends) == ("over", "")


def test_what_stops_it_is_said_until_it_is_over() -> None:
    words, events = night()
    events.event(Event(what="paused", text="no room"))
    late = Forecast(by=0.0, end=1e9, ready=(), late=("a",), measured=True)
    events.event(Event(what="late", text="late: all by 03:00", forecast=late))
    events.problem("line 3 is wrong")
    events.problem("line 3 is wrong")
    assert [(need.what, need.text) for need in words.needs()] == [
        ("paused", "no room"),
        ("late", "late: all by 03:00"),
        ("problem", "line 3 is wrong"),
    ]
    events.event(Event(what="resumed"))
    events.event(Event(what="in time", forecast=late))
    assert [need.what for need in words.needs()] == ["problem"]


def test_a_run_that_ends_without_its_last_words_broke_off() -> None:
    words, events = night()
    events.event(Event(what="started", clip="a", of=48))
    words.broke_off("the farm is gone")
    assert (words.phase, words.text, words.frames) == ("broken off", "the farm is gone", {})
    words, events = night()
    events.summary(plan=Plan(), made=Summary(left=2), settled=[], out=Path("out"), seconds=1.0)
    words.broke_off("")
    assert words.phase == "stopped"
