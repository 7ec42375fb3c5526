"""Requests read and planned: whatever the cells say, every row is planned or a problem that names it, and counts add up."""

import shutil
from pathlib import Path

import opentimelineio as otio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pictures import numbered, write_movie
from rushlight.batch.api.plan_document import plan_document
from rushlight.batch.lists.clip_list import read_csv, write_csv
from rushlight.batch.lists.edl import read_edl
from rushlight.batch.lists.list_columns import COLUMNS
from rushlight.batch.lists.otio import read_timeline
from rushlight.batch.plan.explicit_list import plan_list
from rushlight.batch.plan.prepare import prepare, read_list
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import InputError
from rushlight.pipelines.text_files import desk


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
        (dict(r.cells), r.grade, r.rate, r.problem and (r.problem.key, r.problem.text))
        for r in second.rows
        if r.cells
    ] == [
        (dict(r.cells), r.grade, r.rate, r.problem and (r.problem.key, r.problem.text))
        for r in first.rows
        if r.cells
    ]


EVENTS = (  # clip, first and end label, saturation or none
    [("A001C001", "01:00:00:00", "01:00:00:02", None)] * 2  # the same twice: once
    + [("A001C001", "01:00:00:02", "01:00:00:04", None)]  # another range
    + [("A001C001", "01:00:00:00", "01:00:00:02", 0.5)]  # another grade
    + [("B001C001", "01:00:00:00", "01:00:00:02", None)]
)


@pytest.mark.parametrize("kind", ["csv", "edl", "otio"])
def test_a_clip_used_twice_is_made_once_unless_range_or_grade_differ(
    card: Path, tmp_path: Path, kind: str
) -> None:
    path = tmp_path / f"day.{kind}"
    edl = "TITLE: x\nFCM: NON-DROP FRAME\n"
    for n, (clip, first, end, grade) in enumerate(EVENTS):
        begin = f"00:00:0{n}:00 00:00:0{n}:02"
        edl += f"{n + 1:03}  {clip[:4]}  V  C  {first} {end} {begin}\n* FROM CLIP NAME: {clip}\n"
        edl += f"* ASC_SAT: {grade}\n" if grade else ""
    if kind == "csv":
        cells = [{"clip": c, "in": a, "out": b, "saturation": str(g or "")} for c, a, b, g in EVENTS]
        path.write_text(write_csv(("clip", "in", "out", "saturation"), cells))  # type: ignore[arg-type]
    elif kind == "edl":
        path.write_text(edl)
    else:
        timeline = otio.adapters.read_from_string(edl, "cmx_3600", rate=24)
        path.write_text(otio.adapters.write_to_string(timeline, "otio_json"))
    prepared = prepare(Request(clip_list=path, media=(card,), encoding="LogC3"))
    clips = prepared.plan.clips
    assert [(c.stem, c.first, c.count, c.look.grade and c.look.grade.saturation) for c in clips] == [
        ("A001C001", 0, 2, None),
        ("A001C001", 2, 2, None),
        ("A001C001", 0, 2, 0.5),
        ("B001C001", 0, 2, None),
    ]
    assert len({(c.folder, c.stem) for c in clips}) == 4 and clips[3].folder == ""
    assert any("with the same settings" in w for w in prepared.plan.warnings) and prepared.plan.alike == 1


labels = st.integers(0, 80000).map(lambda s: f"{s // 3600:02}:{s // 60 % 60:02}:{s % 60:02}:12")
names = (
    st.text(
        st.characters(whitelist_categories=("L", "N"), whitelist_characters="_-. "), min_size=1, max_size=12
    )
    .map(str.strip)
    .filter(bool)
)
events = st.lists(
    st.tuples(names, labels, labels, st.one_of(st.none(), st.floats(0, 4).map(lambda v: round(v, 6)))),
    min_size=1,
    max_size=5,
)


@given(events, st.sampled_from(["edl", "otio"]))
def test_lists_of_other_forms_survive_write_and_read_as_csv(
    listed: list[tuple[str, str, str, float | None]], kind: str
) -> None:
    edl = "TITLE: x\nFCM: NON-DROP FRAME\n"
    for n, (name, first, end, grade) in enumerate(listed):
        first, end = sorted((first, end))
        if first == end:
            return
        edl += f"{n + 1:03}  AX  V  C  {first} {end} 00:00:00:00 00:00:00:01\n* FROM CLIP NAME: {name}\n"
        edl += f"* ASC_SAT: {grade!r}\n" if grade is not None else ""
    if kind == "edl":
        found = read_edl(edl, file="x.edl")
    else:
        timeline = otio.adapters.read_from_string(edl, "cmx_3600", rate=24, ignore_timecode_mismatch=True)
        found = read_timeline(otio.adapters.write_to_string(timeline, "otio_json"), file="x.otio")
    cells = []
    for row in found.rows:
        cdl = row.grade
        numbers = {"saturation": repr(cdl.saturation)} if cdl else {}
        cells.append({**row.cells, **numbers})
    again = read_csv(write_csv((*found.columns, "saturation"), cells), file="x.csv")
    assert [(r.clip, r["in"], r["out"], r.grade) for r in again.rows] == [
        (r.clip, r["in"], r["out"], r.grade) for r in found.rows
    ]
    assert not found.problems and not again.problems


def test_a_name_that_is_no_utf8_costs_a_folder_nothing(card: Path, tmp_path: Path) -> None:
    shutil.copy(card / "A001C001.mov", tmp_path / "bad\udcff.mov")
    shutil.copy(card / "A001C001.mov", tmp_path / "ok.mov")
    with desk({}) as here:
        found, text = read_list(tmp_path)
    assert [row.clip for row in found.rows] == ["bad\udcff.mov", "ok.mov"]
    kept = tmp_path / "kept"
    kept.write_bytes(here.read[f"folder {tmp_path}"])
    with desk({f"folder {tmp_path}": kept}, sealed=True):
        again, same = read_list(tmp_path)
    assert same == text and [row.clip for row in again.rows] == [row.clip for row in found.rows]
