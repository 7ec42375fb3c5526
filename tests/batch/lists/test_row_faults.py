"""All that is wrong with a row is said in one go, by column, and nothing that is not."""

import json
from pathlib import Path

import pytest

from here import RECIPE, run
from pictures import numbered, write_movie
from rushlight.batch.api.plan_document import plan_document
from rushlight.batch.lists.clip_list import read_csv
from rushlight.batch.lists.row_faults import RowFaults, faults_of, mended, together
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import GradeError, ListError


def test_several_are_one_sentence_and_one_is_itself() -> None:
    one = GradeError("takes three numbers", file="day.csv", line=4, key="slope")
    two = ListError("nobody states it", file="day.csv", line=4, key="encoding")
    assert together([one]) is one and together([one, one]) is one
    both = together([one, two, one])
    assert str(both) == "day.csv:4: slope: takes three numbers; encoding: nobody states it"
    assert isinstance(both, RowFaults) and faults_of(both) == (one, two) and faults_of(one) == (one,)
    assert faults_of(both.at(line=9)) == (one, two)


def test_what_stands_in_for_a_wrong_cell() -> None:
    cells = {"slope": "x", "timecode": "25:00", "in": "1", "note": "n"}
    assert mended(cells, GradeError("", key="slope")) == {**cells, "slope": "1 1 1"}
    rest = mended(cells, ListError("", key="timecode"))
    assert rest is not None and (rest["in"], rest["slope"]) == ("", "x")
    assert (
        mended({**cells, "slope": "1 1 1"}, GradeError("", key="slope")) is None
    )  # or it would go on for ever
    assert mended(cells, ListError("", key="output[0].size")) is None and mended(cells, ListError("")) is None


def test_every_cell_of_a_row_is_read() -> None:
    (row, shifted) = read_csv(
        "clip,slope,power,rate,levels,rotation\na.mov,1 1,1 0 1,fast,wide,90\na.mov,1,1,1,1,1,1\n", file="d"
    ).rows
    assert row.problem and [f.key for f in faults_of(row.problem)] == [
        "slope",
        "power",
        "rate",
        "levels",
        "rotation",
    ]
    assert all((f.file, f.line) == ("d", 2) for f in faults_of(row.problem))
    assert shifted.problem and [f.key for f in faults_of(shifted.problem)] == [
        None
    ]  # the rest would be guesses


@pytest.fixture
def day(tmp_path: Path) -> Path:
    write_movie(tmp_path / "a.mov", [numbered(k) for k in range(4)], timecode="10:00:00:00")
    (tmp_path / "two.toml").write_text(RECIPE)
    return tmp_path / "day.csv"


HEADING = "clip,encoding,slope,power,in,exposure,lut,lut_input,cdl,stills\n"


@pytest.mark.parametrize(
    ("row", "keys"),
    [
        ("a.mov,,1 1,1 0 1,,,,,,", ["slope", "power", "encoding"]),
        ("a.mov,LogC9,,,,,,,,", ["encoding"]),
        ("a.mov,LogC9,x,,7,bright,,,,never", ["slope", "in", "encoding", "exposure", "stills"]),
        ("a.mov,LogC3,,,,,none.cube,LogC3,none.cdl,", ["cdl", "lut"]),
        ("b.mov,LogC9,x,,7,bright,,,none.cdl,", ["slope", "clip", "encoding", "exposure", "cdl"]),
        ("a.mov,LogC3,,,7,,,,,10:00:00:09", ["in"]),  # whether the still lies in the clip is not known then
    ],
)
def test_a_plan_says_all_of_them(day: Path, row: str, keys: list[str]) -> None:
    day.write_text(HEADING + row + "\n")
    prepared = prepare(Request(clip_list=day))
    assert not prepared.plan.clips and not prepared.plan.broken
    problems = plan_document(prepared)["problems"]
    assert [p["key"] for p in problems] == keys
    assert all(
        (p["line"], p["kind"], p["file"]) == (2, "set aside", str(day)) and p["text"] for p in problems
    )
    assert plan_document(prepared)["counts"]["set_aside"] == 1


def test_a_recipe_that_refuses_ungraded_clips_is_not_brought_up_by_a_slip_in_the_grade(day: Path) -> None:
    (day.parent / "r.toml").write_text('ungraded = "refuse"\n' + RECIPE)
    day.write_text("clip,encoding,slope\na.mov,LogC3,1 1\n")
    ((_, error),) = prepare(Request(clip_list=day, recipe=str(day.parent / "r.toml"))).plan.wrong
    assert [f.key for f in faults_of(error)] == ["slope"]


def test_a_wrong_row_whose_original_does_not_open_says_both(day: Path) -> None:
    (day.parent / "c.mov").write_bytes(b"not a movie")
    day.write_text("clip,encoding,slope\nc.mov,LogC3,1 1\n")
    prepared = prepare(Request(clip_list=day, media=(day.parent,)))
    ((_, error),) = prepared.plan.wrong
    assert [f.key for f in faults_of(error)] == ["slope", None] and "c.mov" in str(error)
    assert prepared.media and [p.name for p, _ in prepared.media.unreadable] == ["c.mov"]


def test_exit_codes_of_a_plan(day: Path) -> None:
    given = (day, "--recipe", day.parent / "two.toml")
    day.write_text("clip,encoding\na.mov,LogC3\n")
    assert run("plan", *given)[0] == 0
    day.write_text("clip,encoding,slope\na.mov,LogC3,\na.mov,,1 1\n")
    code, said = run("plan", *given)
    assert code == 1 and said.count("SET ASIDE") == 2 and "slope:" in said and "encoding:" in said
    (day.parent / "c.mov").write_bytes(b"not a movie")
    day.write_text("clip,encoding\na.mov,LogC3\nc.mov,LogC3\n")
    code, said = run("plan", *given, "--json")
    assert code == 1 and [p["kind"] for p in json.loads(said)["problems"]] == ["failed"]
    (day.parent / "g.cc").write_text("<ColorCorrection")
    assert run("plan", *given, "--grades", day.parent / "g.cc")[0] == 2
    assert run("plan", *given, "--recipe", "no such recipe")[0] == 2
    assert run("plan", day.parent / "none.csv")[0] == 2
    assert "1 some rows are wrong" in run("plan", "--help")[1]
    assert "`plan`: some rows are wrong" in (Path(__file__).parents[3] / "README.md").read_text()
