"""Clips planned by ACES Metadata Files: from --grades, a row or the recipe; and three days of them, written and read back."""

import csv
import datetime
import random
import shutil
from dataclasses import replace
from itertools import takewhile
from pathlib import Path

import numpy as np
import pytest

from aces_samples import V2, clip_id, document, grade, look_file, transform
from here import rushlight
from logged import read_records
from pictures import numbered, write_movie
from rushlight.batch.api.grades import graded_clips
from rushlight.batch.api.look import exact_look
from rushlight.batch.decisions.grade_export import handover_files
from rushlight.batch.plan.clip import fields_of_clip
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.camera_encodings import encodings, find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.luts.cube_lut import format_cube
from rushlight.pipelines.luts.lattice_lut import identity_lut
from rushlight.pipelines.luts.scene_conversion import clf_of_matrix

LOGC4, ACESCCT = f"{V2}CSC.Arri.LogC4_to_ACES.a2.v1", f"{V2}CSC.Academy.ACEScct_to_ACES.a2.v1"
OUTPUT = '\n[[output]]\nname = "o"\nmake = "movie"\ncodec = "prores-proxy"\n'


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_movie(tmp_path_factory.mktemp("card") / "A001C001.mov", [numbered(0), numbered(1)])


class Day:
    """A folder with a list, a recipe and copies of one original."""

    def __init__(self, folder: Path, original: Path) -> None:
        self.folder, self.original = folder, original
        (folder / "grades").mkdir()

    def planned(self, rows: str, *, amf: str = "", recipe: str = "", given: bool = True) -> list[PlannedClip]:
        for row in csv.DictReader(rows.splitlines()):
            shutil.copy2(self.original, self.folder / row["clip"])
        (self.folder / "day.csv").write_text(rows)
        (self.folder / "r.toml").write_text(recipe + OUTPUT)
        if amf:
            (self.folder / "grades" / "a.amf").write_text(amf)
        places = (self.folder / "grades",) if given else ()
        request = Request(
            clip_list=self.folder / "day.csv", grades=places, recipe=str(self.folder / "r.toml")
        )
        self.prepared = prepare(request)
        plan = self.prepared.plan
        self.wrong = [f"{error}" for _, error in plan.wrong]
        return plan.clips


@pytest.fixture
def day(tmp_path: Path, original: Path) -> Day:
    return Day(tmp_path, original)


def test_a_grade_comes_with_its_space_and_its_encoding(day: Day) -> None:
    """Nobody else states an encoding, and the recipe would grade in the camera's log."""
    text = document(
        transform("inputTransform", LOGC4), grade(ACESCCT), clip=clip_id("A001C001"), version="1.0"
    )
    (clip,) = day.planned("clip\nA001C001.mov\n", amf=text)
    assert clip.signal.encoding == find_encoding("LogC4")
    assert clip.signal.encoding_from == "the ACES Metadata File a.amf"
    assert clip.look.grade_space == "ACEScct" and clip.look.grade and clip.look.grade.slope == (1.1, 1, 0.95)
    assert clip.warnings == ()


def test_one_clip_that_does_not_fit_stops_no_other(day: Day) -> None:
    text = document(transform("inputTransform", LOGC4), grade(LOGC4), clip=clip_id("A001C001"))
    rows = "clip,encoding\nA001C001.mov,S-Log3/S-Gamut3.Cine\nA001C002.mov,LogC3\n"
    (other,) = day.planned(rows, amf=text)
    assert other.stem == "A001C002"
    (said,) = day.wrong
    assert "ARRI LogC4/Wide Gamut 4" in said and "S-Log3/S-Gamut3.Cine" in said and "day.csv:2: cdl" in said


def test_a_file_for_all_is_the_recipes_grade(day: Day) -> None:
    text = document(grade(ACESCCT))
    clips = day.planned(
        "clip,encoding\nA001C001.mov,LogC4\nB001C001.mov,S-Log3/S-Gamut3\n", amf=text, recipe='grade = "grades/a.amf"', given=False
    )  # fmt: skip
    assert [(c.look.grade_space, c.decision.reason) for c in clips] == [
        ("ACEScct", "the recipe's default")
    ] * 2


def test_a_row_names_its_file(day: Day) -> None:
    rows = "clip,encoding,cdl\nA001C001.mov,LogC4,grades/a.amf\nA001C002.mov,LogC4,grades/a.amf#x\n"
    (clip,) = day.planned(
        rows, amf=document(grade(LOGC4)), recipe='[look]\ngrade_space = "ACEScct"', given=False
    )
    assert clip.look.grade_space == "log" and clip.decision.reason == "the row names this file"
    assert ["holds one look: take #x away" in said for said in day.wrong] == [True]


def test_a_grade_that_is_in_the_picture_is_not_done_again(day: Day) -> None:
    text = document(grade(LOGC4, applied="true"), clip=clip_id("A001C001"))
    (clip,) = day.planned("clip,encoding\nA001C001.mov,LogC4\n", amf=text)
    assert clip.look.grade is None
    assert any("is applied already and is not done again" in said for said in clip.warnings)


def test_what_is_written_of_a_plan_leads_back_to_the_file(day: Day, tmp_path: Path) -> None:
    text = document(grade(ACESCCT), clip=clip_id("A001C001"))
    (clip,) = day.planned("clip,encoding\nA001C001.mov,LogC4\n", amf=text)
    done = rushlight(
        "plan", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml", "--grades", tmp_path / "grades", "--write", tmp_path / "all.csv"
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    again = Request(clip_list=tmp_path / "all.csv", recipe=str(tmp_path / "r.toml"))
    (found,) = prepare(again).plan.clips
    assert found.look.identity() == clip.look.identity()


def test_a_look_file_acts_between_the_grade_and_the_output_transform(day: Day, tmp_path: Path) -> None:
    """A CLF over ACES2065-1: the picture is that of a stop less light after the grade."""
    (tmp_path / "grades" / "a stop down.clf").write_text(
        '<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList xmlns="http://www.smpte-ra.org/ns/2136-1/2024" id="down" '
        'compCLFversion="3">\n<Matrix inBitDepth="32f" outBitDepth="32f">\n'
        '<Array dim="3 3">\n0.5 0 0\n0 0.5 0\n0 0 0.5\n</Array>\n</Matrix>\n</ProcessList>\n'
    )
    text = document(
        transform("inputTransform", LOGC4),
        grade(LOGC4),
        look_file("a%20stop%20down.clf"),
        clip=clip_id("A001C001"),
    )
    (clip,) = day.planned("clip\nA001C001.mov\n", amf=text)
    assert clip.look.lut and (clip.look.lut.input_space, clip.look.lut.output_space) == ("ACES2065-1",) * 2
    assert "lut" not in clip.row.cells  # nobody's row says so
    assert clip.look.shown_by == ('"a stop down"', "ACES 2.0")
    assert fields_of_clip(clip, day.prepared.recipe)["look"].endswith('"a stop down" + ACES 2.0')
    shown = exact_look(day.prepared, clip)
    code = np.random.default_rng(0).uniform(0.1, 0.8, (200, 3))
    plain = replace(shown, show_lut=None)
    expected = replace(plain, cdl=None, exposure=-1.0).evaluate(plain.graded(code))
    assert shown.evaluate(code) == pytest.approx(expected, abs=2e-5)
    files = handover_files(graded_clips(day.prepared), "day", made=datetime.datetime.now(datetime.UTC))
    (tmp_path / "to").mkdir()
    for name, written in takewhile(lambda file: file[0].endswith((".amf", ".clf")), files):
        (tmp_path / "to" / name).write_text(written or "")
    (same,) = prepare(replace(day.prepared.request, grades=(tmp_path / "to",))).plan.clips
    assert same.look.identity() == clip.look.identity() and same.decision.source.startswith(
        str(tmp_path / "to")
    )
    (tmp_path / "grades" / "a stop down.clf").unlink()
    assert day.planned("clip\nA001C001.mov\n", amf=text) == []
    assert "a stop down.clf: cannot be read" in day.wrong[0]


def test_every_look_of_a_recipe_takes_the_files_space_and_the_lut_of_an_output_its_place(
    day: Day, tmp_path: Path
) -> None:
    (tmp_path / "warm.cube").write_text(format_cube(identity_lut(2)))
    outputs = [
        '[looks.cinema]\ndisplay = "P3-D65"\ngrade_space = "log"',
        *(f'[[output]]\nname = "{n}"\nmake = "movie"\ncodec = "prores-proxy"\n{key}' for n, key in (
            ("cinema", 'look = "cinema"'), ("own", 'lut = "warm.cube"'))),
    ]  # fmt: skip
    text = document(grade(ACESCCT), clip=clip_id("A001C001"))
    (clip,) = day.planned("clip,encoding\nA001C001.mov,LogC4\n", amf=text, recipe="\n".join(outputs))
    looks = [clip.look, *clip.looks.values()]
    assert len(looks) == 3 and [look.grade_space for look in looks] == ["ACEScct"] * 3
    after = outputs[0].replace('grade_space = "log"', 'grade_order = "after"')
    assert (
        day.planned("clip,encoding\nA001C001.mov,LogC4\n", amf=text, recipe="\n".join([after, *outputs[1:]]))
        == []
    )
    assert 'grade_order is "after"' in day.wrong[0]


def test_a_year_later_the_file_and_what_it_names_are_among_what_is_kept(day: Day, tmp_path: Path) -> None:
    """Rendered again from the output folder, with the grades gone: the same look and the same colour."""
    for name, factor in (("up.clf", 2.0), ("down.clf", 0.25)):
        text = clf_of_matrix(np.eye(3) * factor, ident=name, name=name)
        (tmp_path / "grades" / name).write_text(text)
    looks = (look_file("up.clf"), grade(ACESCCT), look_file("down.clf"))
    day.planned(
        "clip\nA001C001.mov\n",
        amf=document(transform("inputTransform", LOGC4), *looks, clip=clip_id("A001C001")),
    )
    given = ("--recipe", tmp_path / "r.toml", "--grades", tmp_path / "grades", "--workers", 1)
    done = rushlight("render", tmp_path / "day.csv", *given, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stdout + done.stderr
    shutil.rmtree(tmp_path / "grades")
    done = rushlight("render", "--from", tmp_path / "out", "--out", tmp_path / "again", "--workers", 1)
    assert done.returncode == 0, done.stdout + done.stderr
    first, second = (list(read_records(tmp_path / out))[-1] for out in ("out", "again"))
    assert first["look"]["digest"] == second["look"]["digest"]
    assert first["colour"]["digest"] == second["colour"]["digest"]
    names = [layer["layer"] for layer in first["look"]["layers"]]
    assert names == ["encoding", "exposure", "grade", "show LUT", "transform", "display"]


LOGS = [e.name for e in encodings() if e.kind == "log"]


@pytest.mark.parametrize("number", [1, 2, 3])
def test_three_days_come_back_with_every_number(number: int, day: Day, tmp_path: Path) -> None:
    """Grades of a day of all log encodings, written as AMF and read from there alone: numbers, space and encoding are equal."""
    random.seed(number)

    def cell(low: float, high: float) -> str:
        return " ".join(repr(random.uniform(low, high)) for _ in range(3))

    rows = ["clip,encoding,exposure_index,exposure,white_balance,slope,offset,power,saturation"]
    for k, name in enumerate(LOGS, 1):
        index = random.choice([200, 400, 800, 1600]) if name.startswith("ARRI LogC3") else ""
        numbers = [cell(0.5, 2), cell(-0.1, 0.1), cell(0.5, 2), repr(random.uniform(0, 2))]
        stops, white = (round(random.uniform(-2, 2), 2), "0.4476 0.4074") if k % 3 == 0 else ("", "")
        rows.append(f"A00{number}C{k:03}.mov,{name},{index},{stops},{white},{','.join(numbers)}")
    space = "ACEScct" if number == 2 else "log"
    recipe = f'[look]\ngrade_space = "{space}"'
    given = day.planned("\n".join(rows) + "\n", recipe=recipe)
    assert len(given) == len(LOGS) and day.wrong == []
    files = handover_files(graded_clips(day.prepared), "day", made=datetime.datetime.now(datetime.UTC))
    for name, text in takewhile(
        lambda file: file[0].endswith((".amf", ".clf")), files
    ):  # no .cube: they take long
        (tmp_path / "grades" / name).write_text(text or "")
    bare = "clip\n" + "\n".join(row.partition(",")[0] for row in rows[1:]) + "\n"
    found = day.planned(bare)  # the list says nothing, and the recipe grades in log
    assert day.wrong == []
    for before, after in zip(given, found, strict=True):
        assert after.decision.aces and after.signal.encoding == before.signal.encoding
        cdls = [clip.decision.cdl for clip in (before, after)]
        assert all(isinstance(cdl, CDL) for cdl in cdls)
        first, second = ((c.slope, c.offset, c.power, c.saturation) for c in cdls if c)
        assert first == second
        assert after.look.grade_space == ("log" if before.signal.encoding.curve == "ACEScct" else space)
        assert (after.look.exposure, after.look.white_balance) == (
            before.look.exposure,
            before.look.white_balance,
        )
