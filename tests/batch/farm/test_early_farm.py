"""Workers that start while a list is planned: once, taken by whoever has work for them, else ended; none where nothing is made."""

from pathlib import Path
from threading import Event

import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.farm import dask_farm as farms
from rushlight.batch.farm.dask_farm import DaskFarm
from rushlight.batch.farm.early_farm import EarlyFarm
from rushlight.batch.plan.plan_row import RowPlanner
from rushlight.pipelines.errors import QueueError


class Watched(HereFarm):
    """A farm that says what becomes of it."""

    def __init__(self, told: list[str], workers: int) -> None:
        super().__init__()
        self.told = told
        told.append(f"opened {workers}")

    def grow(self, workers: int) -> None:
        self.told.append(f"grow {workers}")

    def close(self, *, now: bool = False) -> None:
        self.told.append(f"closed {now}")


def test_it_starts_once_beside_the_caller_and_grows_when_it_is_taken() -> None:
    told: list[str] = []
    go = Event()

    def opened(workers: int) -> Watched:
        assert go.wait(30)
        return Watched(told, workers)

    with EarlyFarm(opened) as early:  # type: ignore[arg-type]
        early.start(2)
        early.start(7)
        told.append("planned")
        go.set()
        farm = early.take(5)
    assert told == ["planned", "opened 2", "grow 5"]
    farm.close()


def test_one_that_nobody_takes_is_ended_and_one_that_is_late_starts_when_it_is_taken() -> None:
    told: list[str] = []
    with pytest.raises(ZeroDivisionError), EarlyFarm(lambda n: Watched(told, n)) as early:  # type: ignore[arg-type, return-value]
        early.start(2)
        raise ZeroDivisionError
    assert told == ["opened 2", "closed True"]
    told.clear()
    with EarlyFarm(lambda n: Watched(told, n)) as early:  # type: ignore[arg-type, return-value]
        early.start(0)
        early.take(3)
    assert told == ["opened 3"]


def test_one_that_is_asked_something_before_there_is_work_is_there_to_be_taken() -> None:
    told: list[str] = []
    with EarlyFarm(lambda n: Watched(told, n)) as early:  # type: ignore[arg-type, return-value]
        asked = early.there()
        assert early.there() is asked and early.take(3) is asked  # type: ignore[comparison-overlap]
    assert told == ["opened 1", "grow 3"]
    told.clear()
    with EarlyFarm(lambda n: Watched(told, n)) as early:  # type: ignore[arg-type, return-value]
        early.start(2)
        early.there()
    assert told == ["opened 2", "closed True"]


def test_what_does_not_start_is_said_by_whoever_takes_it_and_by_nobody_else() -> None:
    def opened(workers: int) -> DaskFarm:
        raise QueueError("workers do not start on this machine")

    with EarlyFarm(opened) as early:
        early.start(1)
        with pytest.raises(QueueError):
            early.take(1)
    with EarlyFarm(opened) as early:
        early.start(1)


def test_a_night_starts_its_workers_before_it_plans_and_an_exit_2_starts_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    monkeypatch.setattr(farms, "DaskFarm", lambda workers, **options: Watched(told, workers))
    day, recipe, out = small_day(tmp_path / "day"), tmp_path / "day" / "two.toml", tmp_path / "out"
    wrong = tmp_path / "day" / "wrong.csv"
    wrong.write_text("name\nA001C001.mov\n")
    for given in (
        (day, "--recipe", "none-such"),
        (wrong, "--recipe", recipe),
        (day, "--recipe", recipe, "--encoding", "none such"),
        (day, "--recipe", recipe, "--only", "nothing=1"),
        (day, "--recipe", recipe, "--grades", tmp_path / "gone.ccc"),
    ):
        assert run("render", *given, "--out", out)[0] == 2
    with day.open("a") as stream:
        stream.write("gone.mov,LogC3,narrow\n")
    assert run("render", day, "--recipe", recipe, "--out", out, "--strict")[0] == 2
    assert told == [] and not out.exists()

    into, waited = RowPlanner.into, Event()

    def planned(self: RowPlanner, *given: object) -> None:
        waited.wait(0.2)  # nobody tells when a thread has begun
        told.append("planned")
        into(self, *given)  # type: ignore[arg-type]

    monkeypatch.setattr(RowPlanner, "into", planned)
    assert run("render", day, "--recipe", recipe, "--out", out, "--workers", 8)[0] == 1
    assert told == ["opened 3", "planned", "planned", "planned", "grow 2", "closed False"]
    told.clear()
    assert run("render", day, "--recipe", recipe, "--out", out)[0] == 1  # all is there
    assert told == ["planned"] * 3
