"""A card by CuPy, of which a toy stands here: what is copied where, and what stays."""

import sys

import pytest

from card_as_c import needs_compiler
from card_matrix import Way, graded, noise, random_look, ways
from rushlight.pipelines.card.card import KEPT, Card
from rushlight.pipelines.grading.kernel import grade_rows
from toy_cupy import toy_cupy

pytestmark = needs_compiler
WAY = Way(source="yuv422p10le", target="yuv420p", size=(30, 8), into=(44, 20))


def test_frames_go_there_and_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cupy", toy_cupy())  # type: ignore[arg-type]
    card = Card()
    assert card.name == "Toy"
    for k, way in enumerate(ways(seed=4, many=40)):
        baked, frame = random_look(k), noise(way.source, *way.size, k)
        assert graded(baked, way, card, frame) == graded(baked, way, grade_rows, frame), way


def test_what_was_made_once_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """The kernel, the tables and the memory are made with the first frame of a kind; memory is bounded."""
    calls: list[str] = []
    monkeypatch.setitem(sys.modules, "cupy", toy_cupy(calls.append))  # type: ignore[arg-type]
    card, frame, baked = Card(), noise(WAY.source, *WAY.size, 1), random_look(1)
    graded(baked, WAY, card, frame)
    assert calls.count("compile") == 1 and "alloc" in calls
    calls.clear()
    graded(baked, WAY, card, frame)
    assert calls == ["copy", "grade", "chroma", "copy"]
    for seed in range(2 * KEPT):
        way = Way(source="yuv422p10le", target="yuv420p", size=(30 + seed, 8))
        graded(random_look(seed), way, card, noise(way.source, *way.size, 1))
    assert len(card._looks) == len(card._rooms) == KEPT
