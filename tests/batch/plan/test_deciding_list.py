"""Which of several lists decides a clip: the one that was read last, and no other makes it again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.plan.deciding_list import in_order, left_to_others, not_named_any_more
from rushlight.batch.plan.request import Request
from rushlight.batch.plan.request_ledger import Asked, Asking

BOTH = ("editorial", "viewing")


def row(job: str, look: str = "l", outputs: tuple[str, ...] = BOTH, **other: object) -> Asked:
    plain = Asked(job=job, clip=f"{job}.mov", line=2, asks=f"{job} {look}", range="0+9", look=look)
    return replace(plain, outputs=outputs, **other)  # type: ignore[arg-type]


def asking(name: str, when: float, *rows: Asked, gone: tuple[Asked, ...] = ()) -> Asking:
    return Asking(list=f"/l/{name}.csv", recipe="r", when=when, rows=rows, gone=gone)


def test_another_grade_is_left_whole_and_the_same_picture_by_its_outputs() -> None:
    one = asking("one", 1, row("a"), row("b"), row("c"))
    two = asking("two", 2, row("a", "m"), row("b", outputs=("viewing", "stills")))
    assert left_to_others([one, two]) == {one.id: {"a": None, "b": frozenset({"viewing", "stills"})}}
    again = replace(one, when=3)
    assert left_to_others([two, again]) == {two.id: {"a": None, "b": frozenset(BOTH)}}
    assert left_to_others([one, two], whole=True) == {one.id: {"a": None, "b": None}}


def test_outputs_of_an_overruled_grade_take_nothing_from_the_others() -> None:
    one, two = asking("one", 1, row("a", outputs=("stills",))), asking("two", 2, row("a", "m", ("stills",)))
    three = asking("three", 3, row("a", outputs=("viewing",)))
    left = left_to_others([one, two, three])
    assert left == {one.id: {"a": frozenset({"viewing"})}, two.id: {"a": None}}


@pytest.mark.parametrize("out_of_it", [{"dropped": True}, {"asks": ""}])
def test_a_row_that_asks_for_nothing_decides_nothing(out_of_it: dict[str, object]) -> None:
    one, two = asking("one", 1, row("a")), asking("two", 2, row("a", "m", **out_of_it))
    assert left_to_others([one, two]) == {}


def test_the_same_original_in_another_folder_is_the_same_picture() -> None:
    one, two = asking("one", 1, row("a")), asking("two", 2, row("a", asks="elsewhere", outputs=("stills",)))
    assert left_to_others([one, two]) == {one.id: {"a": frozenset({"stills"})}}


def test_rows_of_older_versions_are_told_by_all_that_they_ask() -> None:
    one = asking("one", 1, row("a", look="", asks="x", outputs=()))
    same, other = (asking("two", 2, row("a", look="m", asks=asks)) for asks in ("x", "y"))
    assert left_to_others([one, same]) == {one.id: {"a": frozenset(BOTH)}}
    assert left_to_others([one, other]) == {one.id: {"a": None}}


def test_a_list_that_does_not_name_its_clip_any_more_still_decided_it() -> None:
    one = asking("one", 1, row("a"))
    two = asking("two", 3, row("b"), gone=(row("a", "m", when=2),))
    assert left_to_others([one, two]) == {one.id: {"a": None}}
    [(gone, text)] = not_named_any_more([one, two])
    assert gone.job == "a" and text == (
        "a.mov is not made again: two.csv, which was read later than one.csv, asked for it otherwise and does not name it any"
        " more. To have it as one.csv says, render that list itself"
    )
    again = replace(one, when=2.5)  # read after that: it decides
    assert left_to_others([again, two]) == {two.id: {"a": None}} and not not_named_any_more([again, two])
    same = replace(two, gone=(row("a", when=2),))
    assert left_to_others([one, same]) == {one.id: {"a": frozenset(BOTH)}}
    assert not not_named_any_more([one, same]) and not not_named_any_more([two])


def test_kept_requests_come_in_the_order_of_reading_with_their_times() -> None:
    one, two = asking("one", 20, row("a")), asking("two", 10, row("a", "m"))
    requests = [Request(clip_list=Path(f"/l/{name}.csv"), recipe="r") for name in ("one", "two", "unknown")]
    found = in_order(requests, [two, one], later=5)
    assert [(r.clip_list.stem, r.asked_at) for r in found] == [("unknown", 0), ("two", 15), ("one", 25)]
    assert [r.left for r in found] == [{}, {"a": None}, {}] and found[2].placed == one.rows


LOOKS, OUTPUTS = (
    st.sampled_from("xyz"),
    st.sets(st.sampled_from(["editorial", "viewing", "stills"]), min_size=1),
)
ROWS = st.builds(lambda job, look, names: row(job, look, tuple(names)), st.sampled_from("ab"), LOOKS, OUTPUTS)
READINGS = st.lists(st.dictionaries(st.sampled_from("ab"), ROWS, max_size=2), max_size=5)


@given(READINGS)
def test_each_output_of_each_clip_has_one_maker_with_the_last_grade(readings: list[dict[str, Asked]]) -> None:
    askings = [
        asking(str(n), n, *(replace(r, job=job) for job, r in rows.items()))
        for n, rows in enumerate(readings, 1)
    ]
    left = left_to_others(askings)
    for job in "ab":
        rows = [(a, r) for a in askings for r in a.rows if r.job == job]
        made: list[tuple[str, str]] = []
        for each, asked in rows:
            names = left.get(each.id, {}).get(job, frozenset())
            made += [(name, asked.look) for name in asked.outputs if names is not None and name not in names]
        assert len({name for name, _ in made}) == len(made)
        if rows:
            last = rows[-1][1]
            assert {look for _, look in made} == {last.look}
            assert {name for name, _ in made} == {
                n for _, r in rows if r.look == last.look for n in r.outputs
            }
