"""Records of grade changes as files: every wrong row or event by its place, all of them at once; EDLs told from decisions."""

import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.decisions.decision import GradeFiles
from rushlight.batch.decisions.grade_change_files import changes_of_events, read_changes, record_of
from rushlight.batch.decisions.grade_changes import ChangeRecord, Rolled
from rushlight.batch.decisions.grade_lookup import GradeBook
from rushlight.batch.lists.edl import read_events
from rushlight.pipelines.errors import GradeError, InputError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

D = datetime.date(2026, 5, 4)
HEAD = "date,timecode,rate,camera,saturation\n"


def sat(record: ChangeRecord, start: str, camera: str = "A", day: int = 0) -> float | None:
    clip = Rolled(
        start=Timecode.parse(start, FrameRate.parse(24)),
        date=D + datetime.timedelta(day),
        frames=48,
        camera=camera,
    )
    found = record.decision(clip)
    return found.cdl.saturation if found and found.cdl else None


@pytest.mark.parametrize(
    ("row", "key"),
    [
        ("4 May,10:00:00:00,24,,1", "date"),
        ("2026-05-04,10:00:00:24,24,,1", "timecode"),
        ("2026-05-04,10:01:00;00,29.97,,1", "timecode"),
        ("2026-05-04,10:00:00:00,,,1", "rate"),
        ("2026-05-04,,24,,1", "timecode"),
        ("2026-05-04,10:00:00:00,24,,", "slope"),
    ],
)
def test_a_wrong_row_names_its_place(row: str, key: str) -> None:
    with pytest.raises(GradeError) as caught:
        read_changes(HEAD + row + "\n", file="r.csv")
    assert (caught.value.file, caught.value.line, caught.value.key) == ("r.csv", 2, key)


EDL = """TITLE: grades
* DATE: 2026-05-04
* RATE: 24
001  AX       V     C        10:00:00:00 10:00:00:01 01:00:00:00 01:00:00:01
* ASC_SOP: (1.1 1.0 0.9) (0 0 0) (1 1 1)
002  AX       V     C        10:00:05:00 10:00:05:01 01:00:00:01 01:00:00:02
* ASC_SAT: 0.2
* CAMERA: B
003  AX       V     C        00:30:00:00 00:30:00:01 01:00:00:02 01:00:00:03
* DATE: 2026-05-05
* ASC_SAT: 0.3
"""


def test_an_edl_as_a_record(tmp_path: Path) -> None:
    path = tmp_path / "r.edl"
    path.write_text(EDL)
    changes = record_of(path)
    assert changes is not None
    assert [(c.when, c.camera, c.cdl.saturation, c.place) for c in changes] == [
        ("2026-05-04 10:00:00:00", "", 1.0, f"{path}:4"),
        ("2026-05-04 10:00:05:00", "B", 0.2, f"{path}:6"),
        ("2026-05-05 00:30:00:00", "", 0.3, f"{path}:9"),
    ]
    record = ChangeRecord(changes)
    assert sat(record, "10:00:04:00", "B") == 0.2
    assert sat(record, "10:00:04:00") == 1.0
    assert sat(record, "00:29:59:00", day=1) == 0.3
    drop = EDL.replace("* RATE: 24", "* RATE: 29.97\nFCM: DROP FRAME")
    path.write_text(drop)
    found = record_of(path)
    assert found and str(found[0].timecode) == "10:00:00;00"


@pytest.mark.parametrize(
    ("was", "now", "key", "line"),
    [
        ("* DATE: 2026-05-05", "* DATE: 5 May", "date", 9),
        ("* ASC_SAT: 0.2\n", "", "slope", 6),
        ("* ASC_SAT: 0.2", "* ASC_SAT: high", "saturation", 7),
        ("10:00:05:00 10", "10:00:05:24 10", "timecode", 6),
        ("* CAMERA: B", "* RATE: fast", "rate", 6),
    ],
)
def test_a_wrong_event_of_a_record_names_its_place(
    tmp_path: Path, was: str, now: str, key: str, line: int
) -> None:
    assert was in EDL
    (tmp_path / "r.edl").write_text(EDL.replace(was, now, 1))
    with pytest.raises(GradeError) as caught:
        record_of(tmp_path / "r.edl")
    assert (caught.value.file, caught.value.line) == (str(tmp_path / "r.edl"), line)
    assert key in (caught.value.key or "") or key in caught.value.text


def test_an_edl_that_names_clips_is_no_record(tmp_path: Path) -> None:
    (tmp_path / "g.edl").write_text(EDL.replace("* CAMERA: B", "* FROM CLIP NAME: A001C003"))
    assert record_of(tmp_path / "g.edl") is None
    (tmp_path / "g.edl").write_text(EDL.replace("* RATE: 24\n", ""))
    with pytest.raises(GradeError, match=r"names neither clip nor reel.*\* RATE"):
        GradeBook([tmp_path], GradeFiles())


@given(st.text(max_size=200))
def test_junk_is_changes_or_a_clear_error(text: str) -> None:
    for head in ("", HEAD, EDL):
        try:
            if head == EDL:
                changes_of_events(read_events(EDL + text, file="r"), file="r")
            else:
                read_changes(head + text, file="r")
        except InputError as error:
            assert error.file == "r"
