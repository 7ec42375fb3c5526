"""EDLs as lists: events, names, drop-frame, both ASC comments in every spelling; against opentimelineio where it reads."""

import os
from pathlib import Path

import opentimelineio as otio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.lists import edl
from rushlight.batch.lists.edl import read_edl
from rushlight.pipelines.colour.cdl import CDL, format_edl_comments
from rushlight.pipelines.errors import GradeError, ListError, RushlightError

DAY = """TITLE: day
FCM: NON-DROP FRAME

001  A001C003_A_REEL_LONGER_THAN_EIGHT V     C        10:00:00:00 10:00:02:00 01:00:00:00 01:00:02:00
* FROM CLIP NAME: A001C003.mov
* ASC_SOP: (1.1549, 1.1469, 1.1422000000000001)(-0.0678, -0.0555, -0.0323)(1.1325000000000001, 1.1351, 1.1221)
* ASC_SAT: 1.2988
002  B007 V     C        10:00:03:00 10:00:04:00 01:00:02:00 01:00:03:00
*FROM CLIP NAME: A001C003.mov
*ASC_SAT 0.9
FCM: DROP FRAME
003  C003 V     C        00:58:59:20 00:59:01:00 01:00:03:00 01:00:04:10
* SOURCE FILE: C003_C001.mp4
004  AX       A2     C        00:00:00:00 00:00:01:00 01:00:04:10 01:00:05:10
005  BL       V     D    012  00:00:00:00 00:00:01:00 01:00:04:10 01:00:05:10
006  D004_C001 AA/V C  14:00:00:00 14:00:01:00 01:00:04:10 01:00:05:10
"""


def test_events_are_rows() -> None:
    found = read_edl(DAY, file="day.edl")
    first, second, third, last = found.rows
    assert first.clip == "A001C003.mov" and first["in"] == "10:00:00:00" and first["out"] == "10:00:02:00"
    assert first["reel"] == ""  # it only repeats the clip's name
    assert first.grade == CDL(
        slope=(1.1549, 1.1469, 1.1422000000000001),
        offset=(-0.0678, -0.0555, -0.0323),
        power=(1.1325000000000001, 1.1351, 1.1221),
        saturation=1.2988,
    )
    assert (second.clip, second["reel"], second.grade) == ("A001C003.mov", "B007", CDL(saturation=0.9))
    assert (third.clip, third["in"], third["out"], third.grade) == (
        "C003_C001.mp4",
        "00:58:59;20",
        "00:59:01;00",
        None,
    )
    assert last.clip == "D004_C001" and last.line == 16
    assert "left out 1 sound event and 1 event of black" in found.warnings[0]
    assert not found.problems


@pytest.mark.parametrize(
    "comments",  # the spellings of opentimelineio's own sample, tests/sample_data/cdl.edl
    [
        "*ASC_SOP (0.1 0.2 0.3) (1.0 -0.0122 0.0305) (1.0 0.5 1.0)\n*ASC_SAT 0.9",
        "* ASC_SOP: (0.1 0.2 0.3) (1.0 -0.0122 0.0305) (1.0 0.5 1.0)\n* ASC_SAT: 0.9",
        "* ASC_SOP: (0.1, 0.2, 0.3)(1.0, -0.0122, 0.0305)(1.0, 0.5, 1.0)\n* ASC_SAT: 0.9",
    ],
)
def test_spellings(comments: str) -> None:
    (row,) = read_edl(
        f"001 A V C 01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00\n* FROM CLIP NAME: x\n{comments}\n"
    ).rows
    assert row.grade == CDL(
        slope=(0.1, 0.2, 0.3), offset=(1.0, -0.0122, 0.0305), power=(1.0, 0.5, 1.0), saturation=0.9
    )


def test_a_malformed_decision_sets_its_row_aside_and_no_other() -> None:
    text = DAY.replace("*ASC_SAT 0.9", "*ASC_SOP (1 1 1) (0 0 0) (1 0 1)")
    found = read_edl(text, file="day.edl")
    (problem,) = found.problems
    assert isinstance(problem, GradeError) and problem.line == 10 and "power" in str(problem)
    assert found.rows[0].grade is not None


def test_a_changed_speed_is_a_problem_of_its_row() -> None:
    text = DAY.replace("*ASC_SAT 0.9", "M2   B007       048.0                10:00:03:00")
    (problem,) = read_edl(text, file="day.edl").problems
    assert "speed" in str(problem) and "048.0" in str(problem)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no event"),
        ("clip,reel\nA,B\n", "no event"),
        ("001 A V C 01:00:00:00 01:00:01:00 01:00:00:00\n", "cannot be read|can be read"),
        ("001 BL V C 01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00\n", "no picture event"),
    ],
)
def test_no_edl(text: str, says: str) -> None:
    with pytest.raises(ListError, match=says):
        read_edl(text, file="x.edl")


def test_it_reads_what_opentimelineio_reads() -> None:
    text = DAY.split("FCM: DROP")[0]
    ours = read_edl(text).rows
    track = otio.adapters.read_from_string(text, "cmx_3600", rate=24).tracks[0]
    theirs = [clip for clip in track if isinstance(clip, otio.schema.Clip)]
    assert len(ours) == len(theirs)
    for row, clip in zip(ours, theirs, strict=True):
        assert row.clip == clip.name
        start = clip.source_range.start_time
        assert row["in"] == otio.opentime.to_timecode(start, 24)
        assert row["out"] == otio.opentime.to_timecode(start + clip.source_range.duration, 24)
        if asc := clip.metadata.get("cdl", {}).get("asc_sop"):
            assert row.grade is not None
            assert tuple(asc["slope"]) == pytest.approx(row.grade.slope)
            assert tuple(asc["offset"]) == pytest.approx(row.grade.offset)


numbers = st.floats(0.01, 4, allow_nan=False)


@given(st.tuples(numbers, numbers, numbers), st.tuples(numbers, numbers, numbers), numbers)
def test_what_we_write_comes_back(
    slope: tuple[float, float, float], power: tuple[float, float, float], saturation: float
) -> None:
    cdl = CDL(slope=slope, power=power, saturation=saturation)
    text = f"001 A V C 01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00\n{format_edl_comments(cdl)}"
    assert read_edl(text).rows[0].grade == cdl


@given(st.text(max_size=400))
def test_any_text_is_a_list_or_one_clear_error(text: str) -> None:
    try:
        read_edl("001 A V C 01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00\n" + text, file="x.edl")
    except RushlightError as error:
        assert "x.edl" in str(error)


TRANSITION = """TITLE: transitions
FCM: NON-DROP FRAME
001  A001     V     C        01:00:04:05 01:00:04:14 01:00:00:00 01:00:00:09
* FROM CLIP NAME:  left.mov
* ASC_SAT: 0.1
002  A001     V     C        01:00:04:14 01:00:04:14 01:00:00:09 01:00:00:09
FCM: NON-DROP FRAME
002  B002     V     {edit} 010 02:00:08:08 02:00:08:18 01:00:00:09 01:00:00:19
* BLEND, DISSOLVE
* FROM CLIP NAME:  left.mov
{from_grade}* TO CLIP NAME:  right.mov
{to_grade}003  B002     V     C        02:00:08:18 02:00:08:19 01:00:00:19 01:00:00:20
* FROM CLIP NAME:  right.mov
"""


@pytest.mark.parametrize("edit", ["D   ", "W001"])
@pytest.mark.parametrize("from_grade", ["", "* ASC_SAT: 0.1\n"])
@pytest.mark.parametrize("to_grade", ["", "* ASC_SAT: 0.2\n"])
def test_of_a_transition_each_name_and_grade_goes_to_its_own_event(
    edit: str, from_grade: str, to_grade: str
) -> None:
    """The layout of the adapter's dissolve_test.edl and wipe_test.edl: the incoming clip is what TO CLIP NAME says."""
    text = TRANSITION.format(edit=edit, from_grade=from_grade, to_grade=to_grade)
    rows = read_edl(text).rows
    assert [(r.clip, r["reel"], r["in"], r["out"], r.grade and r.grade.saturation) for r in rows] == [
        ("left.mov", "A001", "01:00:04:05", "01:00:04:14", 0.1),
        ("right.mov", "B002", "02:00:08:08", "02:00:08:18", 0.2 if to_grade else None),
        ("right.mov", "B002", "02:00:08:18", "02:00:08:19", None),
    ]
    if edit.strip() == "D":
        track = otio.adapters.read_from_string(
            text.replace("* BLEND, DISSOLVE\n", ""), "cmx_3600", rate=24
        ).tracks[0]
        theirs = [clip for clip in track if isinstance(clip, otio.schema.Clip)]
        assert [c.name for c in theirs] == [r.clip for r in rows]


def test_dates_and_cameras_are_columns() -> None:
    text = "* DATE: 2026-05-04\n" + DAY.replace("*ASC_SAT 0.9", "* CAMERA: B\n* date : 2026-05-05")
    found = read_edl(text)
    assert found.columns == ("clip", "in", "out", "reel", "camera", "date")
    assert [(r["date"], r["camera"]) for r in found.rows][:2] == [("2026-05-04", ""), ("2026-05-05", "B")]


def test_lines_and_events_out_of_proportion_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ListError, match="characters long") as caught:
        read_edl(DAY + "1 " * 50_000, file="x.edl")
    assert caught.value.line == DAY.count("\n") + 1
    monkeypatch.setattr(edl, "MAX_LINES", 10)
    with pytest.raises(ListError, match="more than 10 lines"):
        read_edl(DAY)


SAMPLES = Path(os.environ.get("RUSHLIGHT_EDLS", "none"))


@pytest.mark.skipif(
    not SAMPLES.is_dir(), reason="RUSHLIGHT_EDLS names no folder of the adapter's sample EDLs"
)
def test_the_adapters_own_samples() -> None:
    """tests/sample_data of the source distribution: `pip download --no-binary :all: otio-cmx3600-adapter`, unpacked."""
    rows = {
        path.name: len(read_edl(path.read_text()).rows)
        for path in SAMPLES.glob("*.edl")
        if "multi" not in path.name
    }
    assert rows["cdl.edl"] == 2 and rows["speed_effects.edl"] == 548 and rows["dissolve_test_4.edl"] == 6
    for path in sorted(SAMPLES.glob("*.edl")):
        if "multi" in path.name or path.name in (
            "timecode_mismatch.edl",
            "dissolve_test_4.edl",
            "transition_duration.edl",
        ):
            continue  # sound alone; a list the adapter refuses; events without a name, which it calls by their number
        rate = 25 if "25" in path.name else 24
        timeline = otio.adapters.read_from_string(
            path.read_text(), "cmx_3600", rate=rate, ignore_timecode_mismatch=True
        )
        theirs = [c for track in timeline.video_tracks() for c in track.find_clips()]
        ours = read_edl(path.read_text(), file=path.name).rows
        assert [otio.opentime.to_timecode(c.source_range.start_time, rate) for c in theirs] == [
            r["in"] for r in ours
        ]
        assert all(o.clip.startswith(t.name) for o, t in zip(ours, theirs, strict=True)), path.name
