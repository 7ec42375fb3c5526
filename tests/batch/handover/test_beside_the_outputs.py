"""What goes beside the files: records cut to them, tables, grades of looks that can be built again, and what was kept."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from recorded import movie, recorded
from rushlight.batch.handover.beside_the_outputs import cut_records, write_grades, write_record, write_tables
from rushlight.batch.handover.what_changed import Piece
from rushlight.batch.job_log import read_log
from rushlight.batch.records.day_title import DayTitle
from rushlight.batch.records.job_record import JobRecord, read_record
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.luts.cube_lut import parse_cube

CUBE = "# as it was given\nLUT_3D_SIZE 2\n" + "\n".join(
    f"{r} {g} {b}" for b in (0, 1) for g in (0, 0.9) for r in (0, 0.8)
)
LOOK = Look(
    encoding=find_encoding("LogC3"),
    display=find_display("Rec.709 BT.1886"),
    cdl=CDL(slope=(1.1, 1.0, 0.9), saturation=0.8),
    show_lut=ShowLut(name="day look", lut=parse_cube(CUBE)),
)


def clip(job: str, look: Look | None = LOOK, **given: Any) -> JobRecord:
    entries = [
        movie(path=f"{output}/{job}.mov", output=output, clip_name=job) for output in ("editorial", "viewing")
    ]
    said = (
        {"layers": look.layers(), "digest": look.digest(), "description": look.describe()}
        if look
        else {"layers": [], "digest": "sha256:0", "description": ""}
    )
    return read_record(recorded(job, *entries, look=said, **given))


@pytest.fixture
def out(tmp_path: Path) -> Path:
    assert LOOK.show_lut
    place = tmp_path / "out" / "log" / "inputs" / f"{LOOK.show_lut.lut.digest().partition(':')[2]}.cube"
    place.parent.mkdir(parents=True)
    place.write_text(CUBE)
    (tmp_path / "part").mkdir()
    return tmp_path / "out"


def test_records_are_cut_to_their_files() -> None:
    picture = {"digest": "d", "outputs": ["editorial", "viewing"], "index": 0}
    record = clip("A", colour={"digest": "x", "pictures": [picture], "tiles": {}, "sensitivity": {}})
    (cut,) = cut_records([Piece(record=record, entry=record.outputs[1], since="first")])
    assert [e.output for e in cut.outputs] == ["viewing"] and cut.colour.pictures[0].outputs == ["viewing"]


def test_tables(out: Path) -> None:
    part = out.parent / "part"
    write_tables(part, [clip("A")], DayTitle(production="The Lamp Room"))
    assert {p.relative_to(part).as_posix() for p in part.rglob("*.*")} == {
        *("editorial/clips.csv", "editorial/clips.otio", "viewing/clips.csv", "viewing/clips.otio")
    }
    assert "The Lamp Room" in (part / "editorial" / "clips.csv").read_text()


def test_grades_and_the_show_lut_as_it_was_given(out: Path) -> None:
    part = out.parent / "part"
    (said,) = write_grades(out, part, [clip("A"), clip("B")], "Day 12")
    assert said.startswith('AMF of A, B: Show LUT "day look"')
    names = {p.name for p in (part / "grades").iterdir()}
    assert {"A.cdl", "A.amf", "B.cdl", "Day 12.ccc", "Day 12.edl", "show LUT day look.cube"} <= names
    assert (part / "grades" / "show LUT day look.cube").read_text() == CUBE
    assert "<Slope>1.1 1.0 0.9</Slope>" in (part / "grades" / "A.cdl").read_text()


def test_a_look_that_cannot_be_built_again_is_said(out: Path) -> None:
    part = out.parent / "part"
    assert write_grades(out, part, [clip("A"), clip("B", None)], "Day")[1:] == [
        "There are no grade files of 1 clip, whose look cannot be built again here: B"
    ]
    for cube in out.rglob("*.cube"):
        cube.unlink()
    assert "of 1 clip" in write_grades(out, part, [clip("A")], "Day")[0]


def test_an_output_called_grades_keeps_its_folder(out: Path) -> None:
    part = out.parent / "part"
    (part / "Grades").mkdir()
    write_grades(out, part, [clip("A")], "Day")
    assert (part / "grades 2" / "A.cdl").is_file() and not list((part / "Grades").iterdir())


def test_the_record_and_what_was_kept(out: Path) -> None:
    (out / "log" / "frames").mkdir()
    (out / "log" / "frames" / "A.jsonl").write_text("{}\n")
    (out / "log" / "frames" / "other.jsonl").write_text("{}\n")
    (out / "log" / "inputs" / "looks").mkdir()
    (out / "log" / "inputs" / "looks" / "x.of").write_text("x")
    (out / "log" / "inputs" / "link").symlink_to("/etc/hostname")
    picture = {"digest": "d", "outputs": ["viewing"], "index": 0, "frames": "log/frames/A.jsonl"}
    record = clip("A", colour={"digest": "x", "pictures": [picture], "tiles": {}, "sensitivity": {}})
    part = out.parent / "part"
    (said,) = write_record(out, part, [record])
    assert "log/inputs/link of the record could not be read" in said and "symbolic link" in said
    there = {p.relative_to(part).as_posix() for p in part.rglob("*") if p.is_file()}
    assert {"log/jobs.jsonl", "log/frames/A.jsonl", "log/inputs/looks/x.of"} < there
    assert not {"log/frames/other.jsonl", "log/inputs/link"} & there
    assert [r.job for r in read_log(part).records] == ["A"]


def test_a_show_lut_of_another_kind_keeps_its_suffix_and_bytes(out: Path) -> None:
    assert LOOK.show_lut
    (kept,) = out.rglob("*.cube")
    kept.unlink()
    number = LOOK.show_lut.lut.digest().partition(":")[2]
    kept.with_name(f"{number}.spi3d").write_bytes(b"SPILUT 1.0")
    part = out.parent / "part"
    write_grades(out, part, [clip("A")], "Day")
    assert (part / "grades" / "show LUT day look.spi3d").read_bytes() == b"SPILUT 1.0"


def test_amf_names_the_original(out: Path) -> None:
    part = out.parent / "part"
    write_grades(out, part, [clip("A", source={"path": "/media/A001/A001C001_0123.mov"})], "Day")
    assert "A001C001_0123.mov" in (part / "grades" / "A.amf").read_text()


def test_looks_of_outputs_that_do_not_show_the_recipe_s_are_luts_and_said(out: Path) -> None:
    part, warm = out.parent / "part", CUBE.replace("0.9", "0.7")
    assert LOOK.show_lut
    other = replace(LOOK, show_lut=replace(LOOK.show_lut, name="warm", lut=parse_cube(warm)))
    (out / "log" / "inputs" / f"{other.show_lut.lut.digest().partition(':')[2]}.cube").write_text(warm)  # type: ignore[union-attr]
    said = {
        "layers": other.layers(),
        "digest": other.digest(),
        "description": "",
        "display": other.display.name,
    }
    record = clip("A", looks={"producer": said})
    entries = [record.outputs[0], record.outputs[1].model_copy(update={"look": "producer"})]
    record = record.model_copy(update={"outputs": entries})
    told = write_grades(out, part, [record], "Day")
    assert told[-1] == "AMF are of the recipe's look; viewing show other looks, whose LUTs are beside them"
    names = {p.name for p in (part / "grades").iterdir()}
    assert {"show LUT warm.cube", "show LUT day look.cube"} <= names
    assert len([name for name in names if name.endswith(f"{other.digest()[7:15]}.cube")]) == 1
    gone = record.model_copy(
        update={"looks": {"producer": record.looks["producer"].model_copy(update={"digest": "sha256:0"})}}
    )
    (out.parent / "two").mkdir()
    assert "There is no LUT of producer, which cannot be built again here" in write_grades(
        out, out.parent / "two", [gone], "Day"
    )


def test_grades_have_the_names_of_the_clip_table(out: Path) -> None:
    """Also of a sequence, which the list names by a pattern, and of a record without a clip's name."""
    part = out.parent / "part"
    record = clip("S01.#######.dpx")
    entry = record.outputs[0].model_copy(update={"path": "editorial/S01.mov", "clip_name": ""})
    write_grades(out, part, [record.model_copy(update={"outputs": [entry]})], "Day")
    assert (part / "grades" / "S01.cdl").is_file()
