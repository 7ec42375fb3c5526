"""Requests read and planned: whatever the cells say, every row is planned or a problem that names it, and counts add up."""

import shutil
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pictures import numbered, write_movie
from rushlight.batch.lists import COLUMNS, read_csv, write_csv
from rushlight.batch.planlist import plan_list
from rushlight.batch.planpage import plan_document
from rushlight.batch.prepare import prepare
from rushlight.batch.request import Request
from rushlight.pipelines.errors import InputError


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("card")
    write_movie(place / "A001C001.mov", [numbered(k) for k in range(4)])
    shutil.copy(place / "A001C001.mov", place / "B001C001.mov")
    return place


SENSIBLE = {
    "clip": [
        "A001C001.mov",
        "B001C001",
        "nowhere.mov",
        "../A001C001.mov",
        "A001C00#.mov",
        "/etc/passwd",
        ".",
    ],
    "in": ["0", "2", "01:00:00:01", "99", "²", "9" * 5000],
    "out": ["3", "4", "01:00:00:03", "-1"],
    "rate": ["24", "23.976", "1e999999999", "1/0"],
    "timecode": ["10:00:00:00", "10:00:00;00", "25:00:00:00"],
    "encoding": ["LogC3", "V-Log", "video", "none"],
    "levels": ["narrow", "full", "Wide"],
    "exposure_index": ["800", "EI 400", "²", "9" * 5000],
    "slope": ["1.1 1 0.9", "1", "nan 1 1", "-1 1 1"],
    "saturation": ["0.9", "inf"],
    "cdl": ["g.cc", "../g.cc#x", "\x7f"],
    "lut": ["none", "no.cube", "."],
    "rotation": ["0", "180", "90"],
    "desqueeze": ["2", "1e999999999"],
    "clock_offset": ["-1.5", "x"],
    "exposure": ["1", "99", "1e999999999"],
    "white_balance": ["5600K", "0.3 0.3", "K"],
    "date": ["2026-05-04", "4 May"],
    "stills": ["01:00:00:02", "soon"],
}
words = st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\0"), max_size=8)


@st.composite
def row(draw: st.DrawFn) -> dict[str, str]:
    """A row with a clip and a few more cells: mostly sensible ones, so that many rows can be planned."""
    columns = draw(st.lists(st.sampled_from([*SENSIBLE, *COLUMNS]), max_size=4, unique=True))
    cells = {"clip": draw(st.sampled_from(["A001C001.mov", "B001C001", *SENSIBLE["clip"]]))}
    for column in columns:
        some = st.sampled_from(SENSIBLE.get(column, ["yes"]))
        cells[column] = draw(st.one_of(some, some, words))
    return cells


rows = st.lists(row(), min_size=1, max_size=4)


@settings(max_examples=60)
@given(rows, st.sampled_from(["", "LogC3"]))
def test_whatever_the_cells_say(card: Path, rows: list[dict[str, str]], encoding: str) -> None:
    path, written = card / "day.csv", card / "written.csv"
    path.write_text(write_csv(tuple(COLUMNS), rows), "utf-8")  # type: ignore[arg-type]
    (card / "changes.csv").write_text("date,timecode,rate,saturation\n2026-05-04,00:00:00:00,24,0.5\n")
    request = Request(clip_list=path, media=(card,), grades=(card / "changes.csv",), encoding=encoding)
    try:
        prepared = prepare(request)
    except InputError as error:
        assert error.file and error.text
        return
    document = plan_document(prepared)
    counts, media = document["counts"], document["media"]
    assert (
        counts["rows"]
        == sum(counts[k] for k in ("planned", "set_aside", "failed", "alike", "not_chosen"))
        - counts["one_by_one"]
    )
    assert (
        media["found"]
        == media["listed"] + len(media["not_listed"]) + len(media["unreadable"]) + media["ignored"]
    )
    assert all(p["file"] and p["text"] and p["line"] for p in document["problems"])
    for clip in prepared.plan.clips:
        assert card in clip.path.parents and 0 <= clip.first < clip.first + clip.count <= clip.facts.frames
    if not prepared.plan.clips:
        return
    written.write_text(plan_list(prepared, card, lambda clip: clip.row["look"]), "utf-8")
    again = prepare(Request(clip_list=written)).plan
    assert [
        (
            c.path,
            c.first,
            c.count,
            c.timecode,
            c.reel,
            c.look.identity(),
            c.signal.levels,
            c.camera.rotation,
            c.camera.desqueeze,
        )
        for c in again.clips
    ] == [
        (
            c.path,
            c.first,
            c.count,
            c.timecode,
            c.reel,
            c.look.identity(),
            c.signal.levels,
            c.camera.rotation,
            c.camera.desqueeze,
        )
        for c in prepared.plan.clips
    ]


@given(rows)
def test_any_list_that_parses_survives_write_and_read(rows: list[dict[str, str]]) -> None:
    try:
        first = read_csv(write_csv(tuple(COLUMNS), rows), file="a.csv")  # type: ignore[arg-type]
    except InputError:
        return
    second = read_csv(write_csv(first.columns, [r.cells for r in first.rows]), file="a.csv")
    assert [
        (r.clip, dict(r.cells), r.grade, r.rate, r.problem and (r.problem.key, r.problem.text))
        for r in second.rows
        if r.cells
    ] == [
        (r.clip, dict(r.cells), r.grade, r.rate, r.problem and (r.problem.key, r.problem.text))
        for r in first.rows
        if r.cells
    ]
