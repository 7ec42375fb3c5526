"""States and events of a job: a pure function, tested without processes."""

from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.farm.dask_farm import LostWorker
from rushlight.batch.queue.state_machine import (
    FINISH,
    MOVES,
    UNSETTLED,
    Ended,
    Failed,
    Policy,
    Progress,
    SlotFree,
    after_failure,
    asked,
    failure_kind,
    step,
)
from rushlight.pipelines.errors import ChangedError, DeliveryError, ResourceError, SourceError

NOW = 1000.0


def test_what_follows_a_failure() -> None:
    assert failure_kind(SourceError("x")) == "permanent" and failure_kind(ResourceError("x")) == "resource"
    assert failure_kind(DeliveryError("x")) == "delivery" and failure_kind(ValueError()) == "fault"
    assert failure_kind(ChangedError("x")) == "changed"  # though it is a SourceError
    assert failure_kind(LostWorker("x")) == "permanent"  # the runner itself tells lost workers apart
    assert after_failure("permanent", 1).do == "fail"
    assert [after_failure("lost worker", n).do for n in (1, 2, 3)] == ["again", "again", "set aside"]
    assert [after_failure("delivery", n).do for n in (1, 2)] == ["again", "fail"]
    waits = [after_failure("resource", n).wait for n in (1, 2, 3)]
    assert waits == [30, 60, 120] and after_failure("resource", 4).do == "fail"
    assert after_failure("resource", 9, disk_full=True).do == "pause"
    assert after_failure("changed", 1).do == "plan again"


def test_a_job_from_its_first_segment_to_its_delivery() -> None:
    job = Progress(todo=(0, 1))
    job, action = step(job, SlotFree(now=NOW))
    assert action is not None and (action.do, action.number) == ("render", 0)
    job, action = step(job, SlotFree(now=NOW))
    assert action is not None and (action.do, action.number) == ("render", 1)
    assert step(job, SlotFree(now=NOW))[1] is None  # the finish waits for both
    job, action = step(job, Ended(number=1))
    assert action is not None and (action.do, action.number) == ("keep", 1)
    assert step(job, Ended(number=1)) == (job, None)  # a straggler
    job, action = step(job, Ended(number=0))
    job, action = step(job, SlotFree(now=NOW))
    assert action is not None and action.do == "finish" and job.inflight == {FINISH}
    job, action = step(job, Ended(number=FINISH))
    assert action is not None and action.do == "deliver" and job.state == "done"
    assert step(job, SlotFree(now=NOW))[1] is None


def test_three_deaths_set_a_clip_aside_and_a_gone_disk_counts_for_nothing() -> None:
    job = Progress(todo=(0,))
    for deaths in (1, 2, 3):
        for _ in range(5):  # a disk that is gone is nobody's fault, as often as it is
            job, _ = step(job, SlotFree(now=NOW))
            job, action = step(
                job, Failed(number=0, kind="delivery", now=NOW - 1, disk_gone=True), Policy(gone_wait=0)
            )
            assert action is not None and action.do == "again" and job.state == "running"
        job, _ = step(job, SlotFree(now=NOW))
        job, action = step(job, Failed(number=0, kind="lost worker", now=NOW))
        assert action is not None and job.failures["lost worker"] == deaths
    assert job.state == "set aside" and action.do == "set aside" and "3 workers died" in action.why


def test_what_is_short_waits_longer_each_time() -> None:
    job, now, waits = Progress(todo=(0,)), NOW, []
    while job.state == "running":
        job, given_out = step(job, SlotFree(now=now))
        assert given_out is not None
        job, action = step(job, Failed(number=0, kind="resource", now=now))
        assert action is not None and step(job, SlotFree(now=now + action.wait - 0.1))[1] is None
        waits.append(action.wait)
        now += action.wait
    assert waits == [30, 60, 120, 0] and job.state == "failed"


def test_a_changed_original_is_planned_again() -> None:
    job, _ = step(Progress(todo=(0, 1)), SlotFree(now=NOW))
    job, action = step(job, Failed(number=0, kind="changed", now=NOW))
    assert action is not None and action.do == "plan again" and job.state == "queued"


KINDS = st.sampled_from(["permanent", "delivery", "resource", "lost worker", "changed", "fault"])
EVENTS = st.lists(
    st.one_of(
        st.builds(SlotFree, now=st.floats(0, 1e4)),
        st.builds(Ended, number=st.integers(FINISH, 4)),
        st.builds(
            Failed,
            number=st.integers(FINISH, 4),
            kind=KINDS,
            now=st.floats(0, 1e4),
            disk_full=st.booleans(),
            disk_gone=st.booleans(),
        ),
    ),
    max_size=60,
)


@given(st.integers(1, 4), EVENTS)
def test_whatever_comes_no_segment_is_lost_or_twice_in_hand(segments: int, events: list) -> None:
    job, kept = Progress(todo=tuple(range(segments))), set()
    for event in events:
        before = job
        job, action = step(job, event)
        if before.state != "running":
            assert (job, action) == (before, None)  # what has ended stays as it is
            continue
        if action is not None and action.do == "render":
            assert action.number not in before.inflight and action.number not in kept
        if action is not None and action.do == "keep":
            kept.add(action.number)
        if action is not None and action.do in ("finish", "deliver"):
            assert kept == set(range(segments))  # never before all are there
        if job.state == "running" and job.inflight != {FINISH}:
            assert sorted([*job.todo, *job.inflight, *kept]) == list(range(segments))
        assert job.failures.get("lost worker", 0) < 3 or job.state != "running"


def test_moves_of_a_person() -> None:
    assert {word: after for word, (_, after) in MOVES.items()} == {
        "hold": "held",
        "release": "queued",
        "retry": "queued",
    }
    assert all("running" not in before and "done" not in before for before, _ in MOVES.values())


STATES = ("queued", "held", "running", "done", "failed", "set aside")


def test_what_a_person_asks_of_a_row_that_could_not_be_planned() -> None:
    assert (
        asked("retry", "set aside", planned=False) == asked("retry", "failed", planned=False) == "plan again"
    )
    assert asked("retry", "set aside", planned=True) == asked("release", "held", planned=True) == "queued"
    assert (
        asked("hold", "set aside", planned=False) is None
        and asked("drop", "set aside", planned=False) == "gone"
    )
    assert asked("drop", "running", planned=True) is None and asked("retry", "done", planned=True) is None


@given(
    st.sampled_from(UNSETTLED),
    st.lists(st.one_of(st.sampled_from([*MOVES, "drop"]), st.sampled_from([True, False])), max_size=30),
)
def test_a_bad_row_waits_until_its_list_is_mended_or_it_is_dropped(
    state: str, events: list[str | bool]
) -> None:
    """Words of a person, and between them what a new reading of the list says (True: the row is right now)."""
    planned, reading = False, False
    for event in events:
        if isinstance(event, bool):
            if reading:
                planned, reading = event, False
                state = "queued" if event else "set aside"
            continue
        before = state
        answer = asked(event, state, planned=planned)
        reading = answer == "plan again"
        if answer == "gone":
            return
        if answer is not None and not reading:
            state = answer
        assert planned or state in UNSETTLED  # no worker ever gets a row with nothing to render
        assert state in STATES and (answer is not None or state == before)


@given(st.sampled_from([*MOVES, "drop"]), st.sampled_from(STATES), st.booleans())
def test_nothing_in_hand_is_taken_away(what: str, state: str, planned: bool) -> None:
    answer = asked(what, state, planned=planned)
    assert answer is None or state != "running"
    if what != "drop":
        assert answer in (None, MOVES[what][1], "plan again")
