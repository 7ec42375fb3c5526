"""Delivered sound against what it should be."""

import numpy as np
import pytest
from numpy.typing import NDArray

from recordings import talk
from rushlight.pipelines.measure.sound_difference import difference, lossy_difference

WANTED = talk(2)(48_000, 100_000) << 8


def blocks(whole: NDArray[np.int32], size: int) -> list[NDArray[np.int32]]:
    return [whole[:, at : at + size] for at in range(0, whole.shape[1], size)]


@pytest.mark.parametrize(("a", "b"), [(1000, 777), (777, 100_000), (100_000, 1)])
def test_equal_sound_is_equal_in_any_blocks(a: int, b: int) -> None:
    part = WANTED[:, :5000]
    found = difference(blocks(part, a), blocks(part, b))
    assert (found.samples, found.changed, found.first, found.length) == (5000, 0, None, 5000)


def test_one_changed_code_is_found_where_it_is() -> None:
    other = WANTED.copy()
    other[1, 70_001] ^= 1 << 8
    found = difference(blocks(WANTED, 48_000), blocks(other, 5000))
    assert (
        (found.changed, found.first) == (1, 70_001) and found.error_db is not None and found.error_db < -100
    )


def test_what_is_below_24_bits_is_no_difference() -> None:
    assert difference([WANTED], [WANTED | 1]).changed == 0


def test_sound_that_ends_early_is_silence_from_there() -> None:
    found = difference([WANTED], [WANTED[:, :60_000]])
    assert found.length == 60_000 and found.first is not None and found.first >= 60_000
    assert difference([WANTED], []).length == 0


@pytest.mark.parametrize("late", [0, 1, -1, 1024, -2112])
def test_a_lossy_codecs_offset_and_level(late: int) -> None:
    random = np.random.default_rng(3)
    noise = random.standard_normal(70_000) * 1e6
    found = lossy_difference(
        WANTED[0, 5000:75_000], (WANTED[0, 5000 - late : 75_000 - late] * 0.9 + noise).astype(np.int32)
    )
    assert found is not None and found[0] == late and abs(found[1] - 20 * np.log10(0.9)) < 0.3


def test_silence_has_no_place() -> None:
    assert lossy_difference(np.zeros(70_000, np.int32), np.zeros(70_000, np.int32)) is None
