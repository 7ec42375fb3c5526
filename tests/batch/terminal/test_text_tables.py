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


@given(st.lists(st.tuples(WORDS, WORDS, WORDS), max_size=4), st.integers(30, 100))
def test_it_fits_and_loses_nothing(rows: list[tuple[str, str, str]], width: int) -> None:
    lines = table_lines(["one", "two", "three"], rows, width)
    assert max(map(len, lines)) <= width
    left = sorted("".join("".join(row) for row in rows).replace(" ", ""))
    assert sorted("".join(lines[2:]).replace(" ", "")) == left


@given(st.text(st.sampled_from("abc  d-\n\u3000"), min_size=1, max_size=60), st.integers(4, 40))
def test_a_cell_wraps_as_textwrap_has_it(cell: str, width: int) -> None:
    assert _wrapped(cell, width) == (textwrap.wrap(cell, width, break_on_hyphens=False) or [""])


def test_nothing_in_a_cell_is_hidden() -> None:
    assert "\\x1b" in "".join(table_lines(["clip"], [["a\x1b[2Jb"]]))


def test_the_page_is_the_terminals_within_60_and_100(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for columns, wanted in (("40", 60), ("80", 80), ("300", 100)):
        monkeypatch.setenv("COLUMNS", columns)
        assert page_width() == wanted
    monkeypatch.setenv("COLUMNS", "60")
    print_table(["a"], [["word " * 40]])
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 60
