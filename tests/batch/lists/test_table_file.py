"""Tables: whatever is written comes back cell by cell; whatever is no table is one clear error."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.lists import table_file
from rushlight.batch.lists.table_file import read_table
from rushlight.pipelines.errors import GradeError

cells = st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\0"), max_size=12)


@given(st.lists(st.lists(cells, min_size=3, max_size=3), max_size=6), st.sampled_from(",;\t"))
def test_what_another_writer_writes_comes_back(rows: list[list[str]], delimiter: str) -> None:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, quoting=csv.QUOTE_ALL)
    writer.writerows([["One", "second Column", "three"], *rows])
    table = read_table(out.getvalue(), GradeError)
    assert table.columns == ("one", "second_column", "three")
    kept = [r for r in rows if any(c.strip() for c in r) and not r[0].lstrip().startswith("#")]
    assert [found for _, found in table.rows] == kept


def test_too_many_rows_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_file, "MAX_ROWS", 3)
    assert len(read_table("a\n" + "1\n" * 3, GradeError).rows) == 3
    with pytest.raises(GradeError, match="more than 3 rows") as caught:
        read_table("a\n" + "1\n" * 4, GradeError, file="g.csv")
    assert caught.value.line == 5


def test_too_many_columns_are_refused_at_once() -> None:
    with pytest.raises(GradeError, match="has 1000000 columns"):
        read_table("a," * 999_999 + "a\n", GradeError)


@given(st.text(max_size=300))
def test_junk_is_a_table_or_the_error_asked_for(text: str) -> None:
    try:
        assert read_table(text, GradeError, file="g.csv").columns
    except GradeError as error:
        assert error.file == "g.csv"
