"""The state of a night: each clip has one place, and the counts add up whatever stands where."""

from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.live.run_words import RunWords
from rushlight.batch.live.state import night_state
from rushlight.batch.plan.request_ledger import Day, Entry
from rushlight.batch.queue.glance import QueueGlance
from rushlight.batch.records.night_state import CardNow, ClipReady, NightState

STATES = ("done", "set aside", "failed", "not yet")
ROWS = ("queued", "held", "running", "done", "failed", "set aside")


def row(job: str, state: str, frames: int = 48) -> QueueGlance:
    return QueueGlance(job=job, out="/out", clip=f"{job}.mov", state=state, frames=frames)


def state_of(
    clips: dict[str, str], rows: list[QueueGlance], words: RunWords | None = None, **more: object
) -> NightState:
    day = Day(
        entries=tuple(Entry(job=job, clip=f"{job}.mov", state=state) for job, state in clips.items()),
        media=None,
    )
    given = {"errors": {}, "ready": {}, "now": 0.0, "title": "day"} | more
    return night_state(day=day, rows=rows, words=words or RunWords(phase="rendering"), **given)  # type: ignore[arg-type]


def places(found: NightState) -> dict[str, int]:
    return {name: n for name, n in found.counts.plain().items() if n and name not in ("listed", "ungraded")}


def test_each_clip_has_one_place() -> None:
    clips = {
        "a": "done",
        "b": "not yet",
        "c": "not yet",
        "d": "not yet",
        "e": "failed",
        "f": "set aside",
        "g": "not yet",
    }
    rows = [row("b", "running"), row("c", "queued"), row("d", "held"), row("x", "queued")]
    words = RunWords(phase="rendering", frames={"b.mov": (12, 48)})
    found = state_of(clips, rows, words, errors={"e": "its original is damaged"}, no_grade=["g"])
    assert found.counts.listed == 7
    assert places(found) == {
        "delivered": 1, "running": 1, "waiting": 1, "held": 1, "waits_for_grade": 1, "failed": 1, "set_aside": 1,
    }  # fmt: skip
    assert [(clip.clip, clip.frame, clip.percent) for clip in found.running] == [("b.mov", 12, 25)]
    assert [(clip.clip, clip.state) for clip in found.waiting] == [
        ("c.mov", "waiting"),
        ("d.mov", "held"),
        ("g.mov", "waits for a grade"),
    ]
    assert [(n.what, n.name, n.text) for n in found.needs] == [
        ("failed", "e.mov", "its original is damaged"),
        ("set aside", "f.mov", ""),
    ]


def test_a_clip_that_is_made_anew_is_not_told_as_delivered_before_it_is() -> None:
    """A later turn of its outputs, or a revision: all rows of a clip count."""
    rows = [row("a", "done"), row("a", "queued")]
    assert places(state_of({"a": "done"}, rows)) == {"waiting": 1}
    assert places(state_of({"a": "done"}, [row("a", "queued"), row("a", "running")])) == {"running": 1}
    assert places(state_of({"a": "failed"}, [row("a", "queued")])) == {"waiting": 1}  # `queue retry`
    for phase in ("over", "stopped", "broken off"):
        assert places(state_of({"a": "done"}, rows, RunWords(phase=phase))) == {"delivered": 1}


def test_cards_that_arrive_are_listed_and_those_that_went_need_somebody() -> None:
    cards = [
        CardNow(name="A003", state="arriving", clips=4),
        CardNow(name="A004", state="arriving"),
        CardNow(name="A001", state="complete", clips=9, how="by manifest"),
        CardNow(name="A002", state="gone", clips=2),
    ]
    found = state_of({"a": "done"}, [], cards=cards)
    assert (found.counts.listed, places(found)) == (5, {"delivered": 1, "arriving": 4})
    assert [(need.what, need.name) for need in found.needs] == [("card", "A002")]
    assert NightState.read(found.plain()) == found
    over = state_of({"a": "done"}, [], RunWords(phase="over"), cards=cards)
    assert (over.counts.listed, places(over)) == (1, {"delivered": 1})  # as the report has it
    assert [need.name for need in over.needs] == ["A003", "A004", "A002"]


def test_clips_of_a_list_whose_card_has_not_come_arrive() -> None:
    """They are in the list: what lies on cards that are copied is not added. A record of an earlier run without the card is over."""
    clips, cards = (
        {"a": "done", "b": "not yet", "c": "set aside"},
        [CardNow(name="A003", state="arriving", clips=2)],
    )
    more = {"not_come": ["b", "c"], "listed": True, "cards": cards}
    found = state_of(clips, [], **more)
    assert (found.counts.listed, places(found)) == (3, {"delivered": 1, "arriving": 2})
    assert [(clip.clip, clip.state) for clip in found.waiting] == [
        ("b.mov", "arriving"),
        ("c.mov", "arriving"),
    ]
    assert found.needs == []
    over = state_of(clips, [], RunWords(phase="over"), **more)
    assert (over.counts.listed, places(over)) == (3, {"delivered": 1, "waiting": 1, "set_aside": 1})


def test_the_newest_clip_is_first_whatever_its_offset() -> None:
    def ready(job: str, finished: str) -> ClipReady:
        return ClipReady(job=job, clip=job, finished=finished, frames=1, rate="24", first_timecode="")

    clips = {"a": "done", "b": "done", "c": "done"}
    moments = {
        "a": "2026-11-27T01:00:00+02:00",
        "b": "2026-11-27T00:00:00+00:00",
        "c": "never",
        "gone": "2026-11-27",
    }
    found = state_of(clips, [], ready={job: ready(job, text) for job, text in moments.items()})
    assert [clip.job for clip in found.ready] == ["b", "a", "c"]


def test_a_rows_fault_that_the_run_told_too_stands_once() -> None:
    words = RunWords(phase="rendering", problems=["line 3 is wrong", "a disk is slow"])
    found = state_of({"a": "set aside"}, [], words, errors={"a": "line 3 is wrong"})
    assert [(need.what, need.text) for need in found.needs] == [
        ("problem", "a disk is slow"),
        ("set aside", "line 3 is wrong"),
    ]


def test_a_pause_is_the_phase_until_the_night_is_over() -> None:
    found = state_of({}, [], RunWords(phase="rendering", paused="no room"))
    assert (found.phase, found.text) == ("paused", "no room")
    assert state_of({}, [], RunWords(phase="over", paused="no room")).phase == "over"


@given(
    st.dictionaries(st.sampled_from("abcdefgh"), st.sampled_from(STATES)),
    st.lists(st.tuples(st.sampled_from("abcdefghxy"), st.sampled_from(ROWS))),
    st.sets(st.sampled_from("abcdefghx")),
    st.sampled_from(["planning", "rendering", "pages", "over", "stopped", "broken off"]),
)
def test_it_adds_up_at_every_moment(
    clips: dict[str, str], rows: list[tuple[str, str]], no_grade: set[str], phase: str
) -> None:
    """NightCounts refuses what does not; and once nothing runs, it says what the report's page says."""
    found = state_of(clips, [row(*each) for each in rows], RunWords(phase=phase), no_grade=no_grade)  # type: ignore[arg-type]
    counts, listed = found.counts, list(clips.values())
    assert counts.listed == len(clips)
    assert len({clip.clip for clip in found.waiting}) == len(found.waiting)
    assert len(found.waiting) == counts.waiting + counts.held + counts.waits_for_grade
    assert {clip.clip for clip in found.running} <= {f"{job}.mov" for job in clips}
    if found.is_over:
        assert not found.running and not counts.running
        assert (counts.delivered, counts.set_aside, counts.failed) == tuple(
            listed.count(name) for name in ("done", "set aside", "failed")
        )
        assert len(found.waiting) == listed.count("not yet")
