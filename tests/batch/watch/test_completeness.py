"""A card is complete by its manifest, or by having stood still; and nothing that only looks so is."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.watch.card_files import CardFile
from rushlight.batch.watch.completeness import (
    MANIFEST,
    STILL,
    Found,
    Patience,
    Stillness,
    is_due,
    judged,
    seen_again,
)

PATIENCE = Patience(quiet=60, looks=3, unfinished=600)


def files(**sizes: int) -> tuple[CardFile, ...]:
    return tuple(CardFile(name=f"{name}.mov", size=size, mtime_ns=5) for name, size in sorted(sizes.items()))


def watched(looks: list[tuple[float, tuple[CardFile, ...]]]) -> Stillness:
    still = None
    for now, found in looks:
        still = seen_again(still, found, now)
    assert still is not None
    return still


def test_one_that_stands_still_over_looks_and_time_is_complete() -> None:
    still = watched([(0, files(a=1)), (30, files(a=1)), (60, files(a=1))])
    assert judged(still, 60, PATIENCE) == Found(how=STILL)


@pytest.mark.parametrize(
    ("looks", "now"),
    [
        ([(0, files(a=1)), (61, files(a=1))], 61),  # long enough, in too few looks: a poll that hung
        (
            [(0, files(a=1)), (1, files(a=1)), (2, files(a=1)), (3, files(a=1))],
            3,
        ),  # often, in too short a time
        ([(0, files(a=1)), (30, files(a=1)), (60, files(a=2))], 60),  # it grew
        ([(0, files(a=1)), (30, files(a=1)), (60, files(a=1, b=1))], 60),  # one more came
        (
            [(0, files(a=1)), (30, files(a=1)), (60, (CardFile(name="a.mov", size=1, mtime_ns=4),))],
            60,
        ),  # utime
    ],
)
def test_one_that_does_not_stand_still_arrives(
    looks: list[tuple[float, tuple[CardFile, ...]]], now: float
) -> None:
    found = judged(watched(looks), now, PATIENCE)
    assert found.how is None
    assert re.search(r"so far, \d bytes?; taken in once nothing has changed for 60 s$", found.text)


def test_a_manifest_whose_files_are_all_there_says_so_at_once() -> None:
    still = watched([(0, files(a=1, b=2))])
    stated = {"a.mov": 1, "b.mov": 2}
    assert is_due(still, 0, PATIENCE, stated) and judged(still, 0, PATIENCE, stated=stated) == Found(
        how=MANIFEST
    )


def test_a_manifest_that_names_more_waits_for_that() -> None:
    still = watched([(0, files(a=1))])
    found = judged(still, 0, PATIENCE, stated={"a.mov": 1, "b.mov": 2})
    assert found == Found(how=None, text="1 of 2 files of its manifest so far")


def test_a_manifest_of_other_sizes_waits_and_says_which() -> None:
    still = watched([(0, files(a=1)), (30, files(a=1)), (60, files(a=1))])
    found = judged(still, 60, PATIENCE, stated={"a.mov": 2})
    assert found.how is None and found.held
    assert "the files and the manifest do not fit: a.mov; it waits" in found.text


def test_a_manifest_that_leaves_out_an_original_does_not_make_the_card_complete() -> None:
    still = watched([(0, files(a=1, b=2))])
    assert judged(still, 0, PATIENCE, stated={"a.mov": 1}).how is None


def test_an_unfinished_file_holds_a_still_card_and_one_with_a_manifest() -> None:
    still = watched([(0, files(a=1)), (60, files(a=1)), (120, files(a=1))])
    for stated in (None, {"a.mov": 1}):
        found = judged(still, 120, PATIENCE, unfinished=["a.mov is empty"], stated=stated)
        assert found == Found(how=None, text="a.mov is empty; it waits for that", held=True)


def test_one_that_stays_unfinished_is_taken_as_it_is_at_last() -> None:
    """A camera that lost power leaves an open container: the other clips of the card are not to wait for ever."""
    still = watched([(0, files(a=1)), (60, files(a=1)), (600, files(a=1))])
    found = judged(still, 600, PATIENCE, unfinished=["a.mov is empty", "b.mov is empty"])
    assert (
        found.how == STILL
        and "a.mov is empty, and 1 more such file, and nothing has changed for 10 minutes" in found.text
    )


@given(st.lists(st.tuples(st.floats(0, 100), st.integers(0, 2)), min_size=1, max_size=12))
def test_complete_means_the_same_in_every_look_for_the_whole_time(steps: list[tuple[float, int]]) -> None:
    now, looks = 0.0, []
    for wait, size in steps:
        now += wait
        looks.append((now, files(a=size)))
    if judged(watched(looks), now, PATIENCE).how:
        same = [when for when, found in looks if found == looks[-1][1]]
        last = [when for when, found in looks if when >= now - 60]
        assert len(same) >= 3 and now - same[0] >= 60
        assert all(found == looks[-1][1] for when, found in looks if when in last)
