"""Who grades a segment's frames, card or processor: the bytes are the same, and which graded which is kept."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from importlib.machinery import ModuleSpec
from pathlib import Path
from typing import Any

import pytest

import card_as_c
from card_as_c import needs_compiler
from card_matrix import Way, graded, noise, random_look
from here import HereFarm, farm_here, files, run, small_day  # noqa: F401
from logged import read_records
from rushlight.pipelines.errors import CardError
from rushlight.pipelines.grading.kernel import grade_rows
from rushlight.pipelines.render import who_grades
from rushlight.pipelines.render.who_grades import WhoGrades, why_no_card
from toy_cupy import toy_cupy

WAY = Way(source="yuv422p10le", target="yuv420p", size=(30, 8))
Put = Callable[..., None]


@pytest.fixture
def put(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Put]:
    """Put a card into this process: `told` hears of each call, and may raise. None takes CuPy out."""

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))

    def put(told: Callable[[str], None] | None = lambda call: None) -> None:
        toy: Any = toy_cupy(told) if told else None
        if toy:
            toy.__spec__ = ModuleSpec("cupy", None)
        monkeypatch.setitem(sys.modules, "cupy", toy)
        forget()

    def forget() -> None:
        for kept in (who_grades._card_of_this_process, who_grades._has_cupy):
            kept.cache_clear()

    yield put
    monkeypatch.undo()
    forget()


def frames(who: WhoGrades, *numbers: int) -> None:
    baked = random_look(1)
    for number in numbers:
        frame = noise(WAY.source, *WAY.size, number)
        assert graded(baked, WAY, who, frame) == graded(baked, WAY, grade_rows, frame)
        who.note(number)


def test_runs_of_frames_are_kept() -> None:
    who = WhoGrades("off")
    who.note(4)  # nothing of it was graded
    frames(who, 5, 6, 9)
    assert who.kept() == [
        {"by": "processor", "first": 5, "frames": 2},
        {"by": "processor", "first": 9, "frames": 1},
    ]


@needs_compiler
def test_a_card_that_fails_in_a_frame_costs_none(put: Put) -> None:
    grades: list[str] = []

    def told(call: str) -> None:
        grades.extend([call] * (call == "grade"))
        if len(grades) > 4:  # two of the test
            raise RuntimeError("out of memory")

    put(told)
    who = WhoGrades("auto")
    frames(who, 0, 1)
    assert who.why_not == ""
    frames(who, 2, 3)
    assert who.kept() == [
        {"by": "Toy", "first": 0, "frames": 2},
        {"by": "processor", "first": 2, "frames": 2},
    ]
    assert who.why_not == "the card failed: out of memory"
    late = WhoGrades("require")  # it had a card when it began
    frames(late, 4)
    assert late.kept() == [{"by": "processor", "first": 4, "frames": 1}]


def test_without_cupy_it_is_the_processor_and_nothing_is_said(put: Put, monkeypatch: Any) -> None:
    put(None)
    monkeypatch.setattr(who_grades, "Graphics", lambda: pytest.fail("a card was opened"))
    monkeypatch.setattr(who_grades, "find_spec", lambda name: pytest.fail("CuPy was looked for"))
    for asked in ("off", "auto"):
        who = WhoGrades(asked)
        frames(who, 1)
        assert (who.kept()[0]["by"], who.why_not) == ("processor", "")
        monkeypatch.setattr(who_grades, "find_spec", lambda name: None)


def test_one_that_must_have_a_card_and_has_none_does_nothing(put: Put) -> None:
    put(None)
    with pytest.raises(CardError, match="--graphics require asks: CuPy is not installed"):
        frames(WhoGrades("require"), 1)
    assert "CuPy is not installed" in why_no_card()[0]


@needs_compiler
def test_a_card_with_other_bits_is_none_that_can_be_used(put: Put, monkeypatch: pytest.MonkeyPatch) -> None:
    put()
    assert why_no_card() == []
    right = card_as_c.text
    order = "luma + s->matrix[1] * cb + s->matrix[2] * cr", "luma + (s->matrix[1] * cb + s->matrix[2] * cr)"
    monkeypatch.setattr(card_as_c, "text", lambda *facts: right(*facts).replace(*order))
    put()
    assert "did not give the processor's colour" in why_no_card()[0]


@needs_compiler
def test_a_night_by_a_card_is_one_by_the_processor(put: Put, tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    """Files, colour and record are the same but for who graded; what was made by the one is not made again by the other."""
    calls: list[str] = []
    put(calls.append)
    day = small_day(tmp_path / "day", {"A001C001": 3})
    whole = ("render", day, "--recipe", day.with_name("two.toml"))
    said, made = {}, {}
    for graphics in ("off", "auto"):
        code, said[graphics] = run(*whole, "--graphics", graphics, "--out", tmp_path / graphics)
        assert code == 0, said
        assert ("grade" in calls) == (graphics == "auto")
        (made[graphics],) = read_records(tmp_path / graphics)
    assert files(tmp_path / "off", "editorial", "viewing") == files(tmp_path / "auto", "editorial", "viewing")
    runs = {key: record["made_with"][0].pop("graded_by") for key, record in made.items()}
    assert runs == {
        "off": [{"by": "processor", "first": 0, "frames": 3}],
        "auto": [{"by": "Toy", "first": 0, "frames": 3}],
    }
    off, auto = ({k: v for k, v in each.items() if k not in TIMES} for each in made.values())
    assert untimed(off) == untimed(auto)
    calls.clear()
    code, text = run(*whole, "--out", tmp_path / "off")
    assert code == 0 and "grade" not in calls and len(read_records(tmp_path / "off")) == 1, text


TIMES = {"started", "finished", "seconds"}


def untimed(record: dict[str, Any]) -> dict[str, Any]:
    for entry in record["outputs"]:
        del entry["mtime_ns"]
    return record
