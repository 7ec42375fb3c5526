"""Who grades: a card that gives other bits, fails or is not there costs no frame, and is not asked again."""

import sys
from functools import cache

import pytest

import card_as_c
from card_as_c import needs_compiler
from card_matrix import Way, graded, noise, random_look, ways
from rushlight.pipelines.card.graphics import Graphics
from rushlight.pipelines.grading.kernel import grade_rows
from toy_cupy import toy_cupy

pytestmark = needs_compiler
LOOK = cache(random_look)
WAY = Way(source="yuv422p10le", target="yuv420p", size=(30, 8))


def is_right(graphics: Graphics, way: Way = WAY, seed: int = 1) -> bool:
    frame, baked = noise(way.source, *way.size, seed), LOOK(seed)
    return graded(baked, way, graphics, frame) == graded(baked, way, grade_rows, frame)


def test_a_card_that_is_right_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []
    monkeypatch.setitem(sys.modules, "cupy", toy_cupy(calls.append))  # type: ignore[arg-type]
    graphics = Graphics()
    assert is_right(graphics) and graphics.why_not == "" and graphics.by == "Toy"
    assert calls.count("grade") == 3  # two tests, and the frame
    assert is_right(graphics) and calls.count("grade") == 4
    for seed, way in enumerate(ways(seed=6, many=24)):
        assert is_right(graphics, way, seed)
    assert graphics.why_not == ""


def test_no_cupy_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cupy", None)  # type: ignore[arg-type]
    graphics = Graphics()
    assert is_right(graphics) and "pip install 'rushlight[cuda]'" in graphics.why_not


def test_no_card_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    toy = toy_cupy()

    def no_device(non_blocking: bool) -> None:
        raise RuntimeError("cudaErrorNoDevice: no CUDA-capable device is detected")

    toy.cuda.Stream = no_device
    monkeypatch.setitem(sys.modules, "cupy", toy)  # type: ignore[arg-type]
    graphics = Graphics()
    assert is_right(graphics)
    assert graphics.why_not == "no card can be used: cudaErrorNoDevice: no CUDA-capable device is detected"


def test_a_card_with_other_bits_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sum in another order, of which the last bit differs now and then: 5 of 2 million bytes of 8 bits."""
    right = card_as_c.text
    order = "luma + s->matrix[1] * cb + s->matrix[2] * cr", "luma + (s->matrix[1] * cb + s->matrix[2] * cr)"
    monkeypatch.setattr(card_as_c, "text", lambda *facts: right(*facts).replace(*order))
    monkeypatch.setitem(sys.modules, "cupy", toy_cupy())  # type: ignore[arg-type]
    graphics = Graphics()
    assert is_right(graphics) and "did not give the processor's colour" in graphics.why_not


@pytest.mark.parametrize("call", ["alloc", "compile", "copy", "grade", "chroma"])
@pytest.mark.parametrize("late", [False, True])
def test_a_card_that_fails_costs_no_frame(call: str, late: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """In its first call, or with the night half done."""
    failing: set[str] = set() if late else {call}

    def told(what: str) -> None:
        if what in failing:
            raise RuntimeError(f"out of memory\n in {what}")

    monkeypatch.setitem(sys.modules, "cupy", toy_cupy(told))  # type: ignore[arg-type]
    graphics = Graphics()
    if late:
        assert is_right(graphics) and graphics.why_not == ""
        failing.add(call)
    other = Way(source="gbrp", target="yuv444p16le", size=(30, 8))
    assert is_right(graphics, other) and graphics.why_not == f"the card failed: out of memory in {call}"
    assert graphics.by == "processor"
    failing.clear()
    assert is_right(graphics) and graphics.why_not  # not asked again
