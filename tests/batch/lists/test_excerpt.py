"""What `--range` and `--still` say, and which rows they may mean."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.lists.clip_list import read_csv
from rushlight.batch.lists.excerpt import Excerpt, excerpts_of, keys_of, rows_of
from rushlight.pipelines.errors import OptionError


def test_a_range_and_a_still() -> None:
    found = excerpts_of(
        ["A1=10:02:11:00-10:02:15:12", "b=1.mov=48 - ", "A1=-9"], ["A1=10:02:12;00", "A1=10:02:12;00"]
    )
    assert found == (
        Excerpt(clip="A1", begin="10:02:11:00", end="10:02:15:12"),
        Excerpt(clip="b=1.mov", begin="48"),
        Excerpt(clip="A1", begin="", end="9"),
        Excerpt(clip="A1", begin="10:02:12;00", still=True),  # once
    )
    assert [str(each) for each in found[1::2]] == ["--range b=1.mov=48-", "--still A1=10:02:12;00"]


@pytest.mark.parametrize("text", ["A1", "A1=", "=1-2", "A1=10:02:11:00", "A1=-", "A1=1-2-3", ""])
def test_what_is_no_range(text: str) -> None:
    with pytest.raises(OptionError, match=r"--range .* takes CLIP=IN-OUT, such as .*out is the frame after"):
        excerpts_of([text], [])


@pytest.mark.parametrize("text", ["A1", "A1=", "=5", "A1=1-2"])
def test_what_is_no_still(text: str) -> None:
    with pytest.raises(OptionError, match=r"--still .* takes CLIP=TIMECODE, such as"):
        excerpts_of([], [text])


def test_what_a_shell_cut_at_a_semicolon_says_so() -> None:
    with pytest.raises(OptionError, match="a shell needs quotes"):
        excerpts_of(["A1=10:02:11"], [])


@given(st.text(max_size=30))
def test_any_text_is_an_excerpt_or_an_error(text: str) -> None:
    for ranges, stills in (([text], []), ([], [text])):
        try:
            (found,) = excerpts_of(ranges, stills)
        except OptionError:
            continue
        assert found.clip and (found.begin or found.end)


ROWS = read_csv(
    "clip\nday/A001C001.mov\nA001C002\nD\\A001C001.mxf\nGX_##.mp4\nseq.#####.dpx\n", file="d"
).rows


@pytest.mark.parametrize(
    ("clip", "lines"),
    [
        ("A001C001", [2, 4]),  # and its twin, which says in which folder each lies
        ("a001c001.MOV", [2, 4]),
        ("A001C001.mp4", [2, 4]),  # as delivered
        ("/any/where/A001C002.mov", [3]),
        ("GX", [5]),
        ("GX_##.mp4", [5]),
        ("seq", [6]),
    ],
)
def test_rows_that_are_meant(clip: str, lines: list[int]) -> None:
    assert [row.line for row in rows_of(excerpts_of([], [f"{clip}=1"]), ROWS)] == lines


def test_a_clip_that_no_row_names() -> None:
    with pytest.raises(
        OptionError, match=r"--still A001C003=1: the list has no clip 'A001C003'; was 'A001C002' meant\?"
    ):
        rows_of(excerpts_of([], ["A001C002=5", "A001C003=1"]), ROWS)


@given(st.text(max_size=20))
def test_every_name_has_a_key(name: str) -> None:
    assert keys_of(f"{name}x") and keys_of(unicodedata.normalize("NFD", name)) == keys_of(
        unicodedata.normalize("NFC", name)
    )
