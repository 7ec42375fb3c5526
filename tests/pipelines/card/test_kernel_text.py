"""The card's kernel as plain C: every byte and count is the processor's kernel's."""

import numpy as np
import pytest

import card_as_c
from card_as_c import needs_compiler, rows_as_c
from card_matrix import (
    LOOKS,
    SITINGS,
    SOURCES,
    TARGETS,
    Way,
    every_way,
    graded,
    look,
    noise,
    random_look,
    ways,
)
from rushlight.pipelines.card.kernel_text import CARD, PROCESSOR, text
from rushlight.pipelines.formats.codecs import CODECS
from rushlight.pipelines.grading.bake import Baked
from rushlight.pipelines.grading.kernel import grade_rows

pytestmark = needs_compiler


def equal(baked: Baked, way: Way, seed: int) -> bool:
    frame = noise(way.source, *way.size, seed)
    return graded(baked, way, grade_rows, frame) == graded(baked, way, rows_as_c, frame)


def test_the_table_has_what_codecs_take() -> None:
    assert {codec.pixel_format for codec in CODECS.values()} <= set(TARGETS)


def test_every_format_siting_and_level() -> None:
    some = ways(seed=1, many=96)
    assert {w.source for w in some} == set(SOURCES) and {w.target for w in some} == set(TARGETS)
    assert {w.siting for w in some} == {w.source_siting for w in some} == set(SITINGS)
    assert [w for k, w in enumerate(some) if not equal(random_look(k % 24), w, k)] == []


@pytest.mark.parametrize("name", LOOKS)
def test_every_kind_of_look(name: str) -> None:
    assert [w for k, w in enumerate(ways(seed=2, many=8)) if not equal(look(name, 33), w, k)] == []


@pytest.mark.parametrize("source", ["gbrp16le", "yuv422p10le", "gbrpf32le"])
def test_cells_that_are_evaluated_directly(source: str) -> None:
    baked = look("CDL ahead", 65)
    assert baked.direct is not None
    way = Way(source=source, target="yuv444p16le", size=(200, 40), source_levels="full")
    assert equal(baked, way, 3) and equal(random_look(4, baked), way, 5)


@pytest.mark.slow
def test_the_whole_table() -> None:
    assert [
        w
        for k, w in enumerate(every_way())
        if not equal(random_look(k % 40) if k % 2 else look("CDL ahead", 33), w, k)
    ] == []


@pytest.mark.slow
def test_two_hundred_random_looks() -> None:
    direct = look("CDL ahead", 65)
    for seed in range(200):
        way = Way(source=SOURCES[seed % len(SOURCES)], target=TARGETS[seed % len(TARGETS)], size=(162, 92))
        assert equal(random_look(seed), way, seed) and equal(random_look(seed, direct), way, seed), seed


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("0.75f * here + 0.25f * next", "here + 0.25f * (next - here)"),
        ("luma + s->matrix[1] * cb + s->matrix[2] * cr", "luma + (s->matrix[1] * cb + s->matrix[2] * cr)"),
        ("(weight[0] * p0[k] + weight[1] * p1[k]) +", "weight[1] * p1[k] + weight[0] * p0[k] * 1.0000001f +"),
        ("largest > 1.0f", "largest > 1.001f"),
    ],
)
def test_other_arithmetic_is_found(right: str, wrong: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the last bits: enough pixels that some code is another."""
    given, baked = text(PROCESSOR, *map(np.dtype, ("u2", "u2"))), look("show LUT, CDL ahead", 33)
    assert right in given
    way = Way(
        source="yuv420p16le", target="yuv444p16le", size=(400, 300), source_siting="centre", dither=False
    )
    assert equal(baked, way, 1)
    monkeypatch.setattr(card_as_c, "text", lambda *_: given.replace(right, wrong))
    assert not equal(baked, way, 1)


def test_the_card_s_text_is_the_same_but_for_its_head() -> None:
    one, other = (text(head, np.dtype("u2"), np.dtype("u1")) for head in (CARD, PROCESSOR))
    assert one.removeprefix(CARD) == other.removeprefix(PROCESSOR)
