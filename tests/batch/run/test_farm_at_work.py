"""A farm from its start to its end: closed beside what goes on, given up as a whole, ended at once where that is asked."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from here import HereFarm
from rushlight.batch.queue.store import Store, open_store
from rushlight.batch.records.events import EventDocument
from rushlight.batch.run import farm_at_work as farms
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Place, Stop, Terms, Work
from rushlight.batch.run.farm_at_work import card_there, early_farm, farm_at_work, prepared_for, run_on


class Crew:
    """Opens a farm whose end takes until it is let go."""

    scheduler = ""
    graphics = "auto"

    def __init__(self) -> None:
        self.asked: dict[str, Any] = {}
        self.closed: list[bool] = []
        self.let_go = threading.Event()

    def farm(
        self,
        count: int,
        *,
        tell: Callable[[str], None],
        gone: Callable[[str], None],
        ahead: tuple[str, ...],
    ) -> HereFarm:
        self.asked = {"count": count, "tell": tell, "gone": gone, "ahead": ahead}
        farm = HereFarm()

        def close(*, now: bool = False) -> None:
            self.let_go.wait(20)
            self.closed.append(now)

        farm.close = close  # type: ignore[method-assign]
        return farm


class Night:
    """What was told, and how to open the farm."""

    def __init__(self) -> None:
        self.told: list[EventDocument] = []
        self.stop, self.crew, self.closing = Stop(), Crew(), ExitStack()
        self.events = EventStream(self.told.append, self.stop)

    def opened(self) -> Any:
        return farm_at_work(
            early_farm(self.crew, events=self.events, stop=self.stop),  # type: ignore[arg-type]
            3,
            events=self.events,
            stop=self.stop,
            closing=self.closing,
        )


@pytest.fixture
def night() -> Iterator[Night]:
    night = Night()
    yield night
    night.crew.let_go.set()
    night.closing.close()


def test_its_end_is_waited_for_by_the_closing_alone(night: Night) -> None:
    with night.opened():
        assert night.crew.asked["count"] == 3
        assert night.crew.asked["ahead"] == Work().modules
        night.crew.asked["tell"]("a worker joined late")
    assert night.crew.closed == []  # it ends while the caller goes on
    assert [(e["event"], e.get("text")) for e in night.told] == [
        ("warning", "a worker joined late"),
        ("end", None),
    ]
    night.crew.let_go.set()
    night.closing.close()
    assert night.crew.closed == [False]


def test_it_ends_at_once_where_a_stop_was_asked_or_an_error_came(night: Night) -> None:
    night.crew.let_go.set()
    with pytest.raises(ZeroDivisionError), night.opened():
        night.stop.ask()
        raise ZeroDivisionError
    night.closing.close()
    assert (night.crew.closed, night.told[-1]["event"]) == ([True], "end")


def test_a_farm_that_is_lost_as_a_whole_stops_the_run_and_is_said_once(night: Night) -> None:
    with night.opened():
        for _ in range(2):
            night.crew.asked["gone"]("the scheduler is gone")
    assert night.stop.level == 2
    assert [e["text"] for e in night.told if e["event"] == "problem"] == ["the scheduler is gone"]
    night.crew.let_go.set()


def test_a_machine_that_is_prepared_says_so_once(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    def prepare(
        farm: Any, jobs: Any, *, tell: Callable[[int, int], None], stopped: Any, graphics: str
    ) -> None:
        assert graphics == "auto"
        for done in range(3):
            tell(done, 2)
        assert not stopped()

    monkeypatch.setattr(farms, "prepare_machine", prepare)
    prepared_for([], HereFarm(), events=night.events, stop=night.stop, graphics="auto")
    assert [(e["event"], e["done"], e["total"], bool(e.get("text"))) for e in night.told] == [
        ("phase", 0, 2, True),
        ("phase", 1, 2, False),
        ("phase", 2, 2, False),
    ]


def test_an_empty_queue_is_run_to_its_end(night: Night, tmp_path: Path) -> None:
    with open_store(tmp_path / "q.sqlite") as store:
        found = _run(night, store)
    assert (found.done, found.left, found.stopped, night.told) == ([], 0, "", [])


def test_a_stop_is_obeyed_by_the_run(night: Night, tmp_path: Path) -> None:
    night.stop.ask()
    with open_store(tmp_path / "q.sqlite") as store:
        _run(night, store, stay=True)
    assert [e["event"] for e in night.told] == ["stopping"]


def _run(night: Night, store: Store, farm: HereFarm | None = None, **more: Any) -> Any:
    store.run_alone()
    return run_on(
        farm or HereFarm(),
        store,
        events=night.events,
        stop=night.stop,
        terms=Terms(stop=night.stop),
        place=Place(),
        deadline=None,
        **more,
    )


@pytest.mark.parametrize(("here", "asked"), [(True, "auto"), (False, "require")])
def test_a_card_that_is_required_is_asked_for_before_the_night_and_may_fail_in_it(
    night: Night, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, here: bool, asked: str
) -> None:
    """On this machine; the workers of others are each asked as their work comes."""
    before: list[Any] = []
    monkeypatch.setattr(farms, "require_card", lambda farm, stopped: before.append(farm))
    farm = HereFarm(here=here)
    crew: Any = night.crew
    with early_farm(crew, events=night.events, stop=night.stop) as early:
        assert card_there(early, crew, night.stop)
        crew.graphics, crew.scheduler = "require", "" if here else "tcp://farm:8786"
        card_there(early, crew, night.stop)
        assert len(before) == here and bool(crew.asked) == here
        stopped = Stop()
        stopped.ask()
        assert not card_there(early, crew, stopped)
        crew.let_go.set()
    works: list[Work] = []
    monkeypatch.setattr("rushlight.batch.run.runner.run", lambda *a, work, **k: works.append(work))
    with open_store(tmp_path / "q.sqlite") as store:
        _run(night, store, farm=farm, graphics="require")
    assert [work.graphics for work in works] == [asked]
