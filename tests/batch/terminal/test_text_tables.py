"""Tables: never wider than the page, no word lost, and the first column gives way last."""

from __future__ import annotations

import textwrap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.terminal.text_tables import _wrapped, page_width, print_table, table_lines

WORDS = st.text(st.sampled_from("ab cd:/.-"), max_size=60)


def test_a_table_that_fits() -> None:
    assert table_lines(["clip", "why"], [["A001", "a b"], ["B", ""]]) == [
        "clip  why",
        "----  ---",
        "A001  a b",
        "B",
    ]


def test_the_widest_wraps_and_names_stay_whole() -> None:
    lines = table_lines(["clip", "why"], [["A001C001.mov", "words " * 30]], 60)
    assert max(map(len, lines)) <= 60
    assert lines[2].startswith("A001C001.mov  words")
    assert sum(line.count("words") for line in lines) == 30


@given(st.lists(st.tuples(WORDS, WORDS, WORDS), max_size=4), st.integers(30, 200))
def test_no_word_is_broken_or_lost(rows: list[tuple[str, str, str]], width: int) -> None:
    lines = table_lines(["one", "two", "three"], rows, width)
    words = [word for row in rows for cell in row for word in cell.split()]
    longest = max(map(len, words), default=0)
    assert all(
        len(line) <= max(width, longest + 11) for line in lines
    )  # "  three: " and an indent stand before it
    seen = " ".join(lines).split()
    assert sum(seen.count(word) for word in set(words)) >= len(words)
    assert all(word in seen for word in words)


def test_rows_stand_one_below_the_other_where_their_words_do_not_fit() -> None:
    place = "/cards/A001/" + "x" * 60
    assert table_lines(["clip", "place", "why", "note"], [["A001", place, "it is", ""]], 60) == [
        "A001",
        "  place:",
        f"    {place}",
        "  why: it is",
    ]


@given(st.text(st.sampled_from("abc  d-\n\u3000"), min_size=1, max_size=60), st.integers(4, 40))
def test_a_cell_wraps_as_textwrap_has_it(cell: str, width: int) -> None:
    wrapped = textwrap.wrap(cell, width, break_on_hyphens=False, break_long_words=False)
    assert _wrapped(cell, width) == (wrapped or [""])


def test_nothing_in_a_cell_is_hidden() -> None:
    assert "\\x1b" in "".join(table_lines(["clip"], [["a\x1b[2Jb"]]))


def test_the_page_is_the_terminals_within_60_and_100(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for columns, wanted in (("40", 60), ("80", 80), ("300", 100)):
        monkeypatch.setenv("COLUMNS", columns)
        assert page_width() == wanted
    assert page_width(200) == 200
    monkeypatch.setenv("COLUMNS", "60")
    print_table(["a"], [["word " * 40]])
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 60
