"""This machine prepared: every worker is asked, once, before there is work, and one compiles; what it is told, and what ends it."""

import json
from pathlib import Path

import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.farm import preparing
from rushlight.batch.farm.preparing import prepare_machine, require_card
from rushlight.batch.farm.tasks import LostWorker, Task
from rushlight.batch.interrupts import Stop
from rushlight.batch.records.events import EVENTS
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.render.kinds import Kind


@pytest.fixture(autouse=True)
def no_card(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preparing, "find_spec", lambda name: None)


@pytest.fixture
def kinds(monkeypatch: pytest.MonkeyPatch) -> list[list[object]]:
    """The kinds that the jobs have, and what workers do with them: a test's own."""
    found: list[list[object]] = [["a", "b", True], ["c", "d", True], ["there", "d", True]]
    monkeypatch.setattr(preparing, "_kinds", lambda jobs: found)
    monkeypatch.setattr(preparing, "MISSING", "toywork:missing")
    monkeypatch.setattr(preparing, "COMPILE", "toywork:compile_all")
    return found


def prepared(farm: HereFarm, stop: Stop | None = None) -> list[tuple[int, int]]:
    told: list[tuple[int, int]] = []
    ask = stop or Stop()
    prepare_machine(farm, [], tell=lambda *n: told.append(n), stopped=lambda: ask.asked)
    return told


def asked(farm: HereFarm) -> list[str]:
    return [task.function.rpartition(":")[2] for task in farm.calls]


def test_one_worker_compiles_once_what_is_missing(kinds: list[list[object]]) -> None:
    farm = HereFarm(here=True, slots=4)
    assert prepared(farm) == [(0, 2), (2, 2)]
    assert asked(farm) == [*["missing"] * 4, "compile_all"] and farm.calls[4].arguments == (kinds[:2],)


def test_nothing_is_said_where_nothing_is_missing(kinds: list[list[object]]) -> None:
    farm = HereFarm(here=True)
    kinds[:2] = []
    assert prepared(farm) == [] and asked(farm) == ["missing"] * 2
    kinds.clear()
    assert prepared(farm) == [] and asked(farm) == ["missing"] * 2


def test_each_worker_is_asked_what_is_missing_and_one_that_dies_of_it_costs_nothing(
    kinds: list[list[object]],
) -> None:
    def before(task: Task) -> None:
        if task.function.endswith("missing") and task.key.endswith("-0"):
            raise LostWorker("the worker died while it ran this")

    farm = HereFarm(here=True, slots=3, before=before)
    assert prepared(farm) == [(0, 2), (2, 2)]
    assert asked(farm) == [*["missing"] * 3, "compile_all"]


def test_other_machines_see_to_it_themselves(kinds: list[list[object]]) -> None:
    farm = HereFarm(here=False)
    assert prepared(farm) == [] and farm.calls == farm.waiting == []


def test_a_stop_and_a_worker_that_dies_end_it(kinds: list[list[object]]) -> None:
    stop = Stop()

    def before(task: Task) -> None:
        if task.function.endswith("compile_all"):
            if stop.level:
                raise AssertionError("asked again")
            raise LostWorker("the worker died while it ran this")

    farm = HereFarm(here=True, before=before)
    assert prepared(farm, stop) == [(0, 2)]
    stop.ask()
    assert prepared(farm, stop) == []


@pytest.mark.parametrize(
    ("graphics", "cupy", "more"), [("auto", True, 1), ("off", True, 0), ("auto", False, 0)]
)
def test_what_a_cards_test_of_itself_needs_is_compiled_where_a_card_may_grade(
    kinds: list[list[object]], monkeypatch: pytest.MonkeyPatch, graphics: str, cupy: bool, more: int
) -> None:
    kinds[:] = [Kind("yuv444p10le", "yuv420p", True), Kind("there", "yuv420p", False)]  # type: ignore[list-item]
    monkeypatch.setattr(preparing, "find_spec", lambda name: object() if cupy and name == "cupy" else None)
    farm = HereFarm(here=True)
    prepare_machine(farm, [], tell=lambda *n: None, stopped=lambda: False, graphics=graphics)
    (asked_for,) = farm.calls[0].arguments
    fine = [Kind("yuv444p10le", "yuv420p10le", True)]
    assert sorted(asked_for) == sorted([*kinds, *fine * more])  # type: ignore[call-overload]


def test_a_night_is_prepared_before_its_first_segment(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    """Also a queue's; and the jobs' kinds are those that their segments ask for."""
    from rushlight.pipelines.render.compiled import make_ready

    farm_here.here = True
    day, recipe = small_day(tmp_path / "day"), tmp_path / "day" / "two.toml"
    make_ready.cache_clear()
    assert run("render", day, "--recipe", recipe, "--out", tmp_path / "out")[0] == 0
    assert asked(farm_here)[0] == "missing_kinds" and asked(farm_here).count("missing_kinds") == 2
    assert make_ready.cache_info().currsize == len(farm_here.calls[0].arguments[0]) > 1
    farm_here.calls.clear()
    queue = ("--queue", tmp_path / "q.sqlite")
    run("queue", "add", day, "--recipe", recipe, "--out", tmp_path / "other", *queue)
    assert run("queue", "run", *queue)[0] == 0
    assert asked(farm_here)[0] == "missing_kinds" and asked(farm_here).count("missing_kinds") == 2


def test_it_is_said_in_words_and_as_an_event(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
    kinds: list[list[object]],
) -> None:
    farm_here.here = True
    day, recipe = small_day(tmp_path / "day", {"A001C001": 2}), tmp_path / "day" / "two.toml"
    code, said = run("render", day, "--recipe", recipe, "--out", tmp_path / "out", "--json")
    told = [json.loads(line) for line in said.splitlines()]
    first, last = (e for e in told if e["event"] == "phase" and e["phase"] == "preparing this machine")
    assert code == 0 and first["text"] == "preparing this machine, once: about 13 s"
    assert first["ends"] > first["time"] and (first["done"], last["done"], last["total"]) == (0, 2, 2)
    order = [e["event"] for e in told]
    assert order.index("phase") < order.index("begin") < order.index("started")
    EVENTS.validate_python(first)
    said = run("render", day, "--recipe", recipe, "--out", tmp_path / "plain")[1]
    assert said.count("preparing this machine") == 1


@pytest.mark.parametrize(
    ("answer", "words"), [(["no card can be used: x"], "no card can be used: x"), (None, "no answer")]
)
def test_a_machine_that_must_have_a_card_and_has_none_is_refused(
    answer: list[str] | None, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(preparing, "NO_CARD", "toywork:answered")
    farm = HereFarm(here=True)
    monkeypatch.setattr("toywork.ANSWER", answer)
    with pytest.raises(OptionError, match=f"--graphics require: .*{words}.*; nothing was made"):
        require_card(farm, stopped=lambda: False)
    assert len(farm.calls) == 1  # one worker answers for the machine


def test_a_machine_with_a_card_is_ready_and_others_see_to_it_themselves(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(preparing, "NO_CARD", "toywork:answered")
    monkeypatch.setattr("toywork.ANSWER", [])
    require_card(HereFarm(here=True), stopped=lambda: False)
    farm = HereFarm()
    require_card(farm, stopped=lambda: False)
    assert farm.calls == []
