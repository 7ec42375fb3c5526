"""Grades for others: what is written is read back equal, by our own readers and by OpenTimelineIO."""

import datetime
import itertools
import re
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import opentimelineio as otio
import pytest

from here import rushlight
from pictures import numbered, write_movie
from rushlight.batch.decisions.grade_export import GradedClip, edls, handover_files, look_luts, write_handover
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.aces_metadata import parse_aces_metadata
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL, parse_cdl, parse_edl_sat, parse_edl_sop
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.luts.cube_lut import parse_cube
from rushlight.pipelines.luts.lut_file import parse_lut

LOG = find_encoding("LogC4")
REC709 = find_display("Rec.709 BT.1886")
MADE = datetime.datetime(2026, 5, 4, tzinfo=datetime.UTC)
GRADE = CDL(slope=(1.1, 1 / 3, 0.9), offset=(-0.01, 0.0, 0.02), power=(1.0, 1.2, 0.95), saturation=0.9)


def clip(
    name: str = "A001C001",
    *,
    grade: CDL | None = GRADE,
    reel: str = "A001",
    start: str = "01:00:00:00",
    rate: str = "24",
    frames: int = 48,
    **look: object,
) -> GradedClip:
    # a colorimetric transform: the ACES one takes a second a look
    made = Look(encoding=LOG, display=REC709, cdl=grade, transform="colorimetric", **look)  # type: ignore[arg-type]
    return GradedClip(
        name=name, reel=reel, start=Timecode.parse(start, FrameRate.parse(rate)), frames=frames, look=made
    )


def outsider(text: str, rate: str) -> list[otio.schema.Clip]:
    """The events of an EDL as OpenTimelineIO reads them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own deprecations
        timeline = otio.adapters.read_from_string(
            text, "cmx_3600", rate=float(FrameRate.parse(rate).fraction)
        )
    return [item for track in timeline.tracks for item in track if isinstance(item, otio.schema.Clip)]


@pytest.mark.parametrize(
    ("rate", "mark"),
    [(r, ":") for r in ("23.976", "24", "25", "29.97", "30", "47.952", "48", "50", "59.94", "60")]
    + [("29.97", ";"), ("59.94", ";")],
)
def test_an_edl_is_read_back_equal(rate: str, mark: str) -> None:
    names = ["A001C001", "A001C002", "B_017 take two"]
    clips = [
        clip(name, grade=None if k == 1 else GRADE, rate=rate, start=f"1{k}:00:01{mark}1{k}", frames=50 + k)
        for k, name in enumerate(names)
    ]
    ((suffix, text),) = edls(clips, "day 3")
    assert suffix == ""
    found = outsider(text, rate)
    assert [c.name for c in found] == names
    for given, event in zip(clips, found, strict=True):
        assert event.metadata["cmx_3600"]["reel"] == "A001"
        assert event.source_range.duration.value == given.frames
        start = otio.opentime.to_timecode(
            event.source_range.start_time, event.source_range.start_time.rate, drop_frame=mark == ";"
        )
        assert start == str(given.start)
        said = event.metadata.get("cdl")
        if given.look.cdl is None:
            assert not said
            continue
        sop = said["asc_sop"]
        assert [tuple(sop[k]) for k in ("slope", "offset", "power")] == [
            GRADE.slope,
            GRADE.offset,
            GRADE.power,
        ]
        assert said["asc_sat"] == GRADE.saturation
    ours = [parse_edl_sop(line) for line in text.splitlines() if "ASC_SOP" in line]
    assert ours == [(GRADE.slope, GRADE.offset, GRADE.power)] * 2
    assert [parse_edl_sat(line) for line in text.splitlines() if "ASC_SAT" in line] == [0.9] * 2
    records = re.findall(r"(\S+) (\S+)\n\* FROM", text)
    assert records[0][0] == f"01:00:00{mark}00"
    assert all(before[1] == after[0] for before, after in itertools.pairwise(records))


def test_one_edl_for_each_way_of_counting() -> None:
    clips = [
        clip("a"),
        clip("b", rate="29.97", start="01:00:00;00"),
        clip("c", rate="29.97"),
        clip("d", start="23:59:59:00"),
        clip("e"),
    ]
    found = dict(edls(clips, "day"))
    assert set(found) == {" 24", " 29.97 drop", " 29.97", " 24 over midnight"}
    assert [c.name for c in outsider(found[" 24"], "24")] == ["a", "e"]
    assert "FCM: DROP FRAME" in found[" 29.97 drop"] and "FCM: NON-DROP FRAME" in found[" 29.97"]
    assert "23:59:59:00 00:00:01:00" in found[" 24 over midnight"]


def test_long_lists_are_cut_at_999_events_and_at_a_day() -> None:
    found = list(edls([clip(f"c{n}") for n in range(1000)], "day"))
    assert [suffix for suffix, _ in found] == [" 1", " 2"]
    assert found[0][1].count("FROM CLIP NAME") == 999
    hours = [clip(f"c{n}", frames=24 * 3600 * 8, start="02:00:00:00") for n in range(3)]
    assert [text.count("FROM CLIP") for _, text in edls(hours, "day")] == [2, 1]


def test_names_and_reels_that_an_edl_cannot_hold_as_they_are() -> None:
    ((_, text),) = edls([clip("one\ntwo", reel=" A 01\t"), clip("three", reel="")], "day\r\nTITLE: x")
    assert text.startswith("TITLE: day  TITLE: x\n")
    assert "001  A_01  V  C  " in text and "002  AX  V  C  " in text and "* FROM CLIP NAME: one two\n" in text


def test_xml_is_read_back_equal_by_clip() -> None:
    files = dict(
        handover_files(
            [clip("A001C001"), clip('Ünï <1> & "two"'), clip("plain", grade=None)], "day 3", made=MADE
        )
    )
    assert files["plain.cdl"] is None
    (alone,) = parse_cdl(files["A001C001.cdl"] or "")
    assert (alone.slope, alone.offset, alone.power, alone.saturation) == (
        GRADE.slope,
        GRADE.offset,
        GRADE.power,
        GRADE.saturation,
    )
    together = parse_cdl(files["day 3.ccc"] or "")
    assert [c.id for c in together] == ["A001C001", 'Ünï <1> & "two"']
    assert "in ARRI LogC4" in alone.description


def test_what_numbers_alone_do_not_say_is_said_in_words() -> None:
    def said(**look: object) -> str:
        files = dict(handover_files([clip(**look)], "d", made=MADE))  # type: ignore[arg-type]
        return parse_cdl(files["A001C001.cdl"] or "")[0].description

    assert "in ACEScct" in said(cdl_space="ACEScct")
    assert "after the show transform" in said(grade_order="after")
    assert "also has exposure, printer points" in said(exposure=0.5, printer_points=(1.0, 0.0, 0.0))
    assert "not clamped" in said(grade=CDL(slope=(1.2, 1, 1), clamp=False))
    assert said(grade=CDL(slope=(1.2, 1, 1), description="night")).startswith("night; ")


def test_twins_have_names_of_their_own() -> None:
    clips = [clip("C01", reel="A1"), clip("c01", reel="A2"), clip("C01", reel="A1"), clip("C02", reel="A1")]
    names = [n for n in dict(handover_files(clips, "d", made=MADE)) if n.endswith(".cdl")]
    assert names == ["C01.A1.cdl", "c01.A2.cdl", "C01.A1.2.cdl", "C02.cdl"]
    amfs = [t or "" for n, t in handover_files(clips, "d", made=MADE) if n.endswith(".amf")]
    found = [parse_aces_metadata(text.encode()).clip_names for text in amfs]
    assert found == [("C01.A1",), ("c01.A2",), ("C01.A1.2",), ("C02",)]  # no name is two clips'


def test_a_cube_and_a_clf_are_the_look() -> None:
    """At its points the .cube is the exact evaluation, to its ten digits, and the .clf to float32."""
    look = clip().look
    text, other = look_luts(look, 9).values()
    cube = parse_cube(text)
    axis = np.linspace(0, 1, 9)
    points = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1).reshape(-1, 3)
    assert np.allclose(cube.apply(points), look.evaluate(points), atol=1e-9)
    assert np.abs(parse_lut(other.encode(), file="x.clf").apply(points) - look.evaluate(points)).max() < 1e-7
    assert look.digest() in other and "the curve's 0 to 1</InputDescriptor>" in other.replace("&#x27;", "'")
    assert look.describe() in text and look.digest() in text and "the curve's 0 to 1" in text
    assert all(len(line) <= 250 for line in text.splitlines())  # Cube LUT Specification 1.0


def test_one_cube_a_look() -> None:
    files = dict(handover_files([clip("a"), clip("b"), clip("c", exposure=1.0)], "d", made=MADE))
    cubes = {name: text for name, text in files.items() if name.endswith(".cube")}
    assert all(files[f"{name[:-5]}.clf"] for name in cubes)
    assert len(cubes) == 2 and any("# Clips: a, b\n" in (text or "") for text in cubes.values())


def test_files_are_written_and_a_lost_grade_goes(tmp_path: Path) -> None:
    folder = tmp_path / "grades"
    first = write_handover(folder, [clip("a"), clip("b")], "day", made=MADE)
    assert sorted(p.name for p in first) == sorted(p.name for p in folder.iterdir())
    (folder / "notes.txt").write_text("mine")
    before = {p.name: p.read_bytes() for p in first}
    write_handover(folder, [clip("a"), clip("b")], "day")
    assert {
        p.name: p.read_bytes() for p in first
    } == before  # the dates of an AMF too, which says what it said
    write_handover(folder, [clip("a"), clip("b", grade=None)], "day")
    names = {p.name for p in folder.iterdir()}
    assert "b.cdl" not in names and {"a.cdl", "notes.txt"} <= names
    with pytest.raises(DeliveryError):
        write_handover(folder / "notes.txt", [clip("a")], "day")


def test_the_command_and_its_edl_read_back_as_a_list(tmp_path: Path) -> None:
    for number in (1, 2):
        write_movie(
            tmp_path / f"A001C00{number}.mov", [numbered(k) for k in range(4)], timecode=f"0{number}:00:00:00"
        )
    (tmp_path / "day.csv").write_text(
        "clip,encoding,slope,offset,power,saturation\n"
        "A001C001.mov,LogC3,1.1 1 0.95,0.01 0 -0.01,1.02 1 0.98,0.9\n"
        "A001C002.mov,LogC3,1 1 1,0 0 0,1 1 1,0.75\n"
        "A001C003.mov,LogC3,,,,\n"
    )
    done = rushlight("grades", tmp_path / "day.csv", "--to", tmp_path / "to")
    assert done.returncode == 1 and "A001C003" in done.stderr
    names = {p.name for p in (tmp_path / "to").iterdir()}
    assert {"A001C001.cdl", "A001C002.cdl", "A001C001.amf", "A001C002.amf", "day.ccc", "day.edl"} <= names
    assert sum(n.endswith(".cube") for n in names) == 2
    first = prepare(Request(clip_list=tmp_path / "day.csv")).plan.clips
    options = {"media": (tmp_path,), "encoding": "LogC3"}
    again = prepare(Request(clip_list=tmp_path / "to" / "day.edl", **options)).plan.clips
    (tmp_path / "bare.csv").write_text("clip\nA001C001.mov\nA001C002.mov\n")
    beside = prepare(
        Request(clip_list=tmp_path / "bare.csv", grades=(tmp_path / "to" / "day.ccc",), **options)
    ).plan.clips
    for clips in (again, beside):
        assert [c.look.identity() for c in clips] == [c.look.identity() for c in first]


def test_looks_of_other_outputs_are_luts_as_well_each_once() -> None:
    one = clip("a")
    hdr = Look(encoding=LOG, display=find_display("PQ BT.2100"), cdl=GRADE, transform="colorimetric")
    clips = [replace(each, others=(hdr,)) for each in (one, clip("b"))]
    plain, found = (dict(handover_files(each, "d", made=MADE)) for each in ([one, clip("b")], clips))
    (cube,) = (name for name in found.keys() - plain.keys() if name.endswith(".cube"))
    assert "PQ BT.2100" in cube and "# Clips: a, b" in (found[cube] or "")
    assert {name: text for name, text in found.items() if name in plain and not name.endswith(".amf")} == {
        name: text for name, text in plain.items() if not name.endswith(".amf")
    }
