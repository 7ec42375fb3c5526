"""Which decision is a clip's: ranks, conflicts, twins; never a guess."""

import random
import time
from dataclasses import replace
from pathlib import Path

import pytest

from aces_samples import V2, clip_id, document, grade, transform
from pictures import numbered, write_movie
from rushlight.batch.decisions.decision import GradeFiles
from rushlight.batch.decisions.grade_lookup import GradeBook, Wanted, camera_name, plain_name
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.cdl import CDL, format_ccc
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

RATE = FrameRate.parse(24)
CLIP = Wanted(
    names=("card/A001C003.mov", "A001C003"),
    reel="A001",
    start=Timecode.parse("10:00:00:00", RATE),
    frames=240,
    scene="12A",
    take="3",
)


def book(folder: Path, **files: str) -> GradeBook:
    for name, text in files.items():
        (folder / name.replace("__", ".")).write_text(text)
    return GradeBook([folder], GradeFiles())


def saturation(found: object) -> float:
    assert found is not None
    return found.cdl.saturation  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("name", "plain", "camera"),
    [
        ("card/A001C003.mov", "a001c003", "a001c003"),
        ("A001_C003_260504_R1AB.MXF", "a001_c003_260504_r1ab", "a001c003"),
        (r"D:\day\A001C003", "a001c003", "a001c003"),
        ("Scene 12.final", "scene 12.final", ""),
        ("A001C003B", "a001c003b", ""),
    ],
)
def test_names_are_normalised_as_stated(name: str, plain: str, camera: str) -> None:
    assert (plain_name(name), camera_name(name)) == (plain, camera)


def test_the_order_of_trust(tmp_path: Path) -> None:
    rows = {
        0.1: "A001C003,,,,",
        0.2: "A001_C003_260504_R1AB,,,,",
        0.3: ",A001,10:00:05:00,,",
        0.4: ",,,12a,3",
        0.5: ",,,12A,",
    }
    reasons = {
        0.1: "its id is the clip's name",
        0.2: "its id is the clip's camera name",
        0.3: "its reel and timecode are the clip's",
        0.4: "it is for the clip's scene and take",
        0.5: "it is for the clip's scene",
    }
    left = dict(rows)
    for value in rows:
        text = "id,reel,timecode,scene,take,saturation\n" + "".join(f"{r},{v}\n" for v, r in left.items())
        found = book(tmp_path, g__csv=text).decision(CLIP)
        assert saturation(found) == value and found is not None and found.reason == reasons[value]
        del left[value]


def test_what_does_not_fit_is_not_taken(tmp_path: Path) -> None:
    text = (
        "id,reel,timecode,scene,take,saturation\n"
        "A001C003,B002,,,,0.1\n"  # another reel of that name
        ",A001,10:00:10:00,,,0.2\n"  # the frame after the last
        ",A001,09:59:59:23,,,0.3\n"  # the frame before the first
        ",A002,10:00:05:00,,,0.4\n"
        ",,,12A,4,0.5\n"
        ",,,12,,0.6\n"
    )
    assert book(tmp_path, g__csv=text).decision(CLIP) is None


def test_twins_are_told_apart_by_reel_and_timecode(tmp_path: Path) -> None:
    text = "id,reel,timecode,saturation\nA001C003,A001,10:00:00:00,0.1\nA001C003,A001,15:00:00:00,0.2\n"
    both = book(tmp_path, g__csv=text)
    assert saturation(both.decision(CLIP)) == 0.1
    later = replace(CLIP, start=Timecode.parse("15:00:00:00", RATE))
    assert saturation(both.decision(later)) == 0.2


def test_different_numbers_of_one_rank_are_an_error_and_equal_ones_are_not(tmp_path: Path) -> None:
    same = {
        "a__ccc": format_ccc([CDL(id="A001C003", saturation=0.5)]),
        "b__ccc": format_ccc([CDL(id="a001c003", saturation=0.5)]),
    }
    assert saturation(book(tmp_path, **same).decision(CLIP)) == 0.5
    with pytest.raises(GradeError, match="2 different decisions fit this clip"):
        book(tmp_path, b__ccc=format_ccc([CDL(id="a001c003", saturation=0.6)])).decision(CLIP)


def test_an_edl_beside_the_list(tmp_path: Path) -> None:
    text = (
        "TITLE: x\n"
        "001 A001 V C 10:00:01:00 10:00:02:00 01:00:00:00 01:00:01:00\n* FROM CLIP NAME: A001C003\n* ASC_SAT: 0.7\n"
        "002 A001 V C 10:00:01:00 10:00:02:00 01:00:00:00 01:00:01:00\n* FROM CLIP NAME: A001C004\n* ASC_SAT: 0.8\n"
        "003 A001 V C 11:00:01:00 11:00:02:00 01:00:00:00 01:00:01:00\n* FROM CLIP NAME: A001C003\n* ASC_SAT: 0.9\n"
    )
    found = book(tmp_path, day__edl=text).decision(CLIP)
    assert saturation(found) == 0.7 and found is not None and found.source.endswith("day.edl:2")


@pytest.mark.parametrize(
    ("text", "says", "line"),
    [
        ("clip,saturatoin\nA,1\n", "no column of numbers", None),
        ("clip,saturation\nA001,high\n", "one number", 2),
        ("# grades\nclip,slope\nA001,1 1\n", "three numbers", 3),
        ("clip,saturation\n,0.5\n", "belongs to no clip", 2),
    ],
)
def test_a_faulty_file_is_named(tmp_path: Path, text: str, says: str, line: int | None) -> None:
    with pytest.raises(GradeError, match=says) as caught:
        book(tmp_path, g__csv=text)
    assert "g.csv" in str(caught.value) and caught.value.line == line


def test_one_decision_that_fits_two_clips_is_neither_ones(tmp_path: Path) -> None:
    for card, start in (("one", "10:00:00:00"), ("two", "15:00:00:00")):
        (tmp_path / card).mkdir()
        write_movie(tmp_path / card / "A001C003.mov", [numbered(0)], timecode=start)
    write_movie(tmp_path / "one" / "A001C004.mov", [numbered(0)])
    (tmp_path / "day.csv").write_text(
        "clip,encoding\none/A001C003.mov,LogC3\ntwo/A001C003.mov,LogC3\none/A001C004.mov,LogC3\n"
    )
    (tmp_path / "g.csv").write_text("id,saturation\nA001C003,0.5\nA001C004,0.6\n")
    request = Request(clip_list=tmp_path / "day.csv", grades=(tmp_path / "g.csv",))
    plan = prepare(request).plan
    assert [c.stem for c in plan.clips] == ["A001C004"]
    assert len(plan.wrong) == 2 and all("say reel, date and timecode" in str(e) for _, e in plan.wrong)
    (tmp_path / "g.csv").write_text(
        "id,timecode,saturation\nA001C003,10:00:00:00,0.5\nA001C003,15:00:00:00,0.7\nA001C004,,0.6\n"
    )
    plan = prepare(request).plan
    assert [c.decision.cdl.saturation for c in plan.clips if c.decision.cdl] == [0.5, 0.7, 0.6]


def test_a_day_of_three_hundred_clips_against_a_truth_written_down_beforehand(tmp_path: Path) -> None:
    """Each clip is given what is to be true of it; the files are written from that; the book must give it back."""
    rng = random.Random(11)
    rows = ["id,reel,timecode,scene,take,saturation"]
    truth: dict[Wanted, float | None] = {}
    clock = Timecode.parse("06:00:00:00", RATE)
    for number in range(300):
        reel, frames = f"{rng.choice('ABC')}{number // 20 + 1:03}", rng.randrange(48, 2000)
        name = f"{reel}C{number % 20 + 1:03}"
        clip = Wanted(
            names=(f"{name}.mov", name),
            reel=reel,
            start=clock,
            frames=frames,
            scene=f"{number}",
            take=str(rng.randrange(1, 9)),
        )
        value = round(0.2 + number / 1000, 4)
        inside = str(clock + rng.randrange(frames))
        kind = rng.choice(("name", "suffix", "place", "take", "scene", "none", "name over scene"))
        truth[clip] = None if kind == "none" else value
        rows += {
            "name": [f"{name.lower()}.MXF,,,,,{value}"],
            "suffix": [f"{reel}_C{number % 20 + 1:03}_260504_R{number:03},,,,,{value}"],
            "place": [f",{reel},{inside},,,{value}"],
            "take": [f",,,{clip.scene},{clip.take},{value}", f",,,{clip.scene},,3"],
            "scene": [f",,,{clip.scene},,{value}", f",,,{clip.scene},77,3"],
            "none": [f",{reel},{clock + frames},,,3"] if number % 2 else [],
            "name over scene": [f"{name},,,,,{value}", f",,,{clip.scene},,3", f",{reel},{inside},,,3"],
        }[kind]
        clock = clock + frames + rng.randrange(24, 500)
    head, *body = rows
    rng.shuffle(body)
    decisions = book(tmp_path, day__csv="\n".join([head, *body]) + "\n")
    start = time.process_time()
    for clip, value in truth.items():
        found = decisions.decision(clip)
        assert (found.cdl.saturation if found and found.cdl else None) == value, clip
    assert time.process_time() - start < 5


def amf(
    slope: str, *, space: str = "Arri.LogC4", clip: str = "A001C003", file: str = "", more: str = ""
) -> str:
    looks = grade(f"{V2}CSC.{space}_to_ACES.a2.v1", slope=slope) if slope else ""
    return document(looks, more, clip=clip_id(clip, file) if clip else "")


@pytest.mark.parametrize(
    "text",
    [
        amf("1.1 1 1", clip="A001C003"),
        amf("1.1 1 1", clip="a001_c003"),
        amf("1.1 1 1", clip="some name", file="A001C003.mov"),
        amf("1.1 1 1", clip="some name", file="card%2FA001C003.mov"),
    ],
)
def test_an_amf_is_its_clips_by_either_name(tmp_path: Path, text: str) -> None:
    found = book(tmp_path, some__amf=text).decision(CLIP)
    assert found and found.cdl and found.cdl.slope == (1.1, 1, 1) and found.for_one_clip
    assert found.aces and found.source.endswith("some.amf")


def test_an_amf_without_a_clip_is_its_names(tmp_path: Path) -> None:
    grades = book(tmp_path, A001C003__amf=amf("1.1 1 1", clip=""), other__amf=amf("1.2 1 1", clip=""))
    found = grades.decision(CLIP)
    assert found and found.cdl and found.cdl.slope == (1.1, 1, 1)


def test_an_amf_and_the_cdl_beside_it_are_one_decision(tmp_path: Path) -> None:
    numbers = CDL(
        slope=(1.1, 1, 0.95), offset=(0.01, 0, -0.01), power=(1, 1.2, 1), saturation=0.9, id="A001C003"
    )
    same = book(tmp_path, a__ccc=format_ccc([numbers]), b__amf=amf("1.1 1 0.95")).decision(CLIP)
    assert same and same.aces and same.cdl and same.cdl.saturation == 0.9
    (tmp_path / "b.amf").write_text(amf(""))  # it says nothing of a grade: the other one holds
    bare = book(tmp_path).decision(CLIP)
    assert bare and bare.aces and bare.cdl == numbers and bare.source.startswith(str(tmp_path / "a.ccc"))


@pytest.mark.parametrize(
    "other",
    [
        amf("1.2 1 0.95"),
        amf("1.1 1 0.95", space="Academy.ACEScct"),  # the same numbers over another signal
        amf("1.1 1 0.95").replace(
            '<aces:lookTransform applied="false">', '<aces:lookTransform applied="true">'
        ),
        amf("1.1 1 0.95", more=transform("outputTransform", f"{V2}Output.Academy.X.a2.v1")),
    ],
)
def test_two_amfs_that_differ_are_refused(tmp_path: Path, other: str) -> None:
    grades = book(tmp_path, a__amf=amf("1.1 1 0.95"), b__amf=other)
    with pytest.raises(GradeError, match=r"2 different decisions fit this clip.*a\.amf.*b\.amf"):
        grades.decision(CLIP)


def test_a_grade_in_another_document_is_read_from_there(tmp_path: Path) -> None:
    look = (
        '<aces:lookTransform applied="false"><aces:cdlWorkingSpace>'
        f"{transform('fromCdlWorkingSpace', f'{V2}CSC.Arri.LogC4_to_ACES.a2.v1', applied='')}</aces:cdlWorkingSpace>"
        '<cdl:ColorCorrectionRef ref="garden"/><aces:file>{}</aces:file></aces:lookTransform>'
    )
    garden = format_ccc([CDL(id="garden", saturation=0.4), CDL(id="hall", saturation=0.6)])
    (tmp_path / "show.ccc").write_text(garden)
    text = document(look.format("show.ccc"), clip=clip_id("A001C003"))
    assert saturation(book(tmp_path, a__amf=text).decision(CLIP)) == 0.4
    for name, words in (
        ("../show.ccc", "neither below"),
        ("hall.ccc", r"hall\.ccc: cannot be read"),
        ("", "no file that"),
    ):
        with pytest.raises(GradeError, match=words) as caught:
            book(tmp_path, a__amf=document(look.format(name), clip=clip_id("A001C003")))
        assert str(tmp_path / "a.amf") in str(caught.value)
    with pytest.raises(GradeError, match="no decision 'garden'"):
        book(tmp_path, show__ccc=garden.replace("garden", "x"), a__amf=text)


def test_a_damaged_amf_is_named(tmp_path: Path) -> None:
    with pytest.raises(GradeError, match=r"a\.amf: lookTransform\[1\]"):
        book(tmp_path, a__amf=amf("1 1"))
