"""Clip lists: every spelling that a spreadsheet writes, every wrong cell reported with its line and column."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.lists.clip_list import cell_is, is_yes, read_csv, write_csv
from rushlight.pipelines.errors import ListError


def test_a_plain_list() -> None:
    found = read_csv(
        "clip,slope,offset,power,saturation,rate,Scene,Lens\nA001.mov,1.1 1 0.95,0 0 0,1 1 1,0.9,23.976,12A,35 mm\n",
        file="day.csv",
    )
    (row,) = found.rows
    assert row.grade is not None and row.grade.slope == (1.1, 1, 0.95) and row.grade.saturation == 0.9
    assert (
        str(row.rate) == "23.976" and row["scene"] == "12A" and row["lens"] == "35 mm" and row["take"] == ""
    )
    assert row.place == "day.csv:2" and not found.problems


@pytest.mark.parametrize(
    "text",
    [
        "\ufeffclip,scene\nA001.mov,1\n",
        "clip;scene\nA001.mov;1\n",
        "clip\tscene\r\nA001.mov\t1\r\n",
        'CLIP , Scene\n"A001.mov" , "1"\n',
        "# a comment\n\nscene,clip\n# another\n1,A001.mov\n",
    ],
)
def test_spellings(text: str) -> None:
    (row,) = read_csv(text).rows
    assert (row.clip, row["scene"]) == ("A001.mov", "1")


def test_every_wrong_row_is_reported_and_kept_by_name() -> None:
    text = (
        "clip,slope,power,saturation,levels,rate,sound\n"
        "a.mov,-1 1 1,,,,,\nb.mov,,1 0 1,,,,\nc.mov,1 1,,,,,\nd.mov,,,x,,,\ne.mov,,,,wide,,\nf.mov,,,,,fast,\n,1 1 1,,,,,\ng.mov,,,,,,loud\nh.mov,,,,,,,,extra\ni.mov,,,,,,\n"
    )
    found = read_csv(text, file="day.csv")
    problems = [(p.line, p.key) for p in found.problems]
    assert problems == [
        (2, "slope"), (3, "power"), (4, "slope"), (5, "saturation"), (6, "levels"), (7, "rate"), (8, "clip"), (9, "sound"), (10, None),
    ]  # fmt: skip
    assert [r.clip for r in found.rows if r.problem][:3] == ["a.mov", "b.mov", "c.mov"]
    assert [r.clip for r in found.rows if not r.problem] == ["i.mov"]


def test_quoted_cells_may_hold_lines_and_line_numbers_stay_right() -> None:
    found = read_csv('clip,note\na.mov,"two\nlines"\nb.mov,x\n', file="d")
    assert [r.line for r in found.rows] == [2, 4] and found.rows[0]["note"] == "two\nlines"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("# only a comment\n", "empty"),
        ("name,scene\na,1\n", "no column `clip`"),
        ("clip,scene,scene\na,1,2\n", "twice"),
        ("clip,scene\n", "no rows"),
        ("clip\na\0b\n", "NUL"),
        ("clip\n" + "x" * 200_000 + "\n", "CSV"),
    ],
)
def test_unreadable_lists(text: str, words: str) -> None:
    with pytest.raises(ListError, match=words):
        read_csv(text, file="day.csv")


def test_a_column_one_slip_away_is_pointed_out() -> None:
    assert "`saturation`" in read_csv("clip,saturatoin\na,1\n", file="d").warnings[0]


@pytest.mark.parametrize(
    ("cell", "value", "fits"),
    [
        ("Yes", "yes", True),
        ("x", "yes", True),
        ("", "yes", False),
        ("no", "yes", False),
        ("12A", "12a ", True),
        ("", "", True),
    ],
)
def test_a_cell_says_what_is_asked_for(cell: str, value: str, fits: bool) -> None:
    assert cell_is(cell, value) == fits


def test_yes() -> None:
    assert is_yes("Yes") and is_yes("*") and not is_yes("no") and not is_yes("")


words = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=20).map(str.strip)


@given(
    st.lists(st.tuples(words.filter(lambda w: w and not w.startswith("#")), words), min_size=1, max_size=8)
)
def test_written_and_read_back(pairs: list[tuple[str, str]]) -> None:
    text = write_csv(("clip", "comment"), [{"clip": c, "comment": n} for c, n in pairs])
    assert [(r.clip, r["comment"]) for r in read_csv(text).rows] == pairs


@given(st.text(max_size=300))
def test_junk_is_a_list_error_or_rows(text: str) -> None:
    try:
        assert read_csv(text).rows
    except ListError:
        pass


def test_a_name_out_of_proportion_is_a_short_problem() -> None:
    (row,) = read_csv("clip\n" + "x" * 90_000 + "\n", file="d").rows
    assert row.problem and row.problem.key == "clip" and len(str(row.problem)) + len(row.clip) < 200
