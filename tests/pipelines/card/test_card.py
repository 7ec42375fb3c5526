"""A card by CuPy, of which a toy stands here: what is copied where, and what stays."""

import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from card_as_c import needs_compiler
from card_matrix import Way, graded, look, noise, random_look, ways
from rushlight.pipelines.card import transfer
from rushlight.pipelines.card.card import CONTEXT, LOOK, LOOKS, Card, most_bytes
from rushlight.pipelines.grading.kernel import grade_rows
from toy_cupy import toy_cupy

pytestmark = needs_compiler
WAY = Way(source="yuv422p10le", target="yuv420p", size=(30, 8), into=(44, 20))


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def opened(toy: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> Card:
    monkeypatch.setitem(sys.modules, "cupy", toy)  # type: ignore[arg-type]
    card = Card()
    card.open()
    return card


@pytest.mark.parametrize("piece", [1 << 20, 1024])
def test_frames_go_there_and_back(piece: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """In one band, or in several, which have rows of chroma in common."""
    monkeypatch.setattr(transfer, "PIECE", piece)
    card = opened(toy_cupy(), monkeypatch)
    assert card.name == "Toy" and card.memory == (3_000_000_000, 4_000_000_000)
    for k, way in enumerate(ways(seed=4, many=40)):
        baked, frame = random_look(k), noise(way.source, *way.size, k)
        assert graded(baked, way, card, frame) == graded(baked, way, grade_rows, frame), way


def test_what_was_made_once_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """The kernel, the tables and the memory are made with the first frame of a kind, the kernel even for other processes."""
    calls: list[str] = []
    toy = toy_cupy(calls.append)
    card, frame, baked = opened(toy, monkeypatch), noise(WAY.source, *WAY.size, 1), random_look(1)
    graded(baked, WAY, card, frame)
    assert calls.count("compile") == 1 and calls.count("alloc") == 2
    calls.clear()
    graded(baked, WAY, card, frame)
    assert [call for call in calls if call != "query"] == [*["copy"] * 4, "grade", "chroma", *["copy"] * 4]
    other = opened(toy, monkeypatch)
    calls.clear()
    graded(baked, WAY, other, frame)
    assert "compile" not in calls


def test_memory_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tables of so many looks, of which the one used longest ago goes, and room for one frame of the largest kind."""
    toy = toy_cupy()
    card, looks = opened(toy, monkeypatch), [random_look(seed) for seed in range(2 * LOOKS)]
    small = Way(source="yuv420p", target="yuv420p", size=(16, 8))
    for baked in looks:
        for way in (WAY, small):
            graded(baked, way, card, noise(way.source, *way.size, 1))
        graded(looks[0], small, card, noise(small.source, *small.size, 1))
        assert len(toy.live()) <= LOOKS + 1
    assert len(toy.live()) == LOOKS + 1 and len(card._looks) == LOOKS
    last, _, _ = list(card._looks.values())[-1]
    assert float(last.saturation) == pytest.approx(looks[0].saturation)


def test_what_a_frame_takes_of_the_card_is_what_doctor_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    toy = toy_cupy()
    card, way = opened(toy, monkeypatch), Way(source="yuv422p10le", target="yuv422p10le", size=(256, 64))
    graded(look("CDL ahead", 33), way, card, noise(way.source, *way.size, 1))
    tables, frame = toy.live()
    counted = most_bytes(*way.size) - CONTEXT - LOOKS * LOOK
    assert counted <= frame <= counted + 16 * 256  # arrays begin at 256 bytes
    assert tables < LOOK
