"""The camera report: each original once, by camera, card and time; whole originals, and who says what."""

import csv
import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recorded import movie, recorded
from rushlight.batch.job_log import failure_record
from rushlight.batch.records.day_title import DayTitle
from rushlight.batch.records.job_record import ClipRecord, read_record
from rushlight.batch.report.camera_report import COLUMNS, cameras_csv, cameras_page, shot_of

HEADER = {"cameraModel": "H7", "cameraSerialNumber": "42", "isoSpeed": "800.0", "cameraCCTSetting": "5600.0"}


def clip(name: str, reel: str = "A001", start: str = "10:00:00:00", **given: object) -> ClipRecord:
    source = {"path": f"/cards/{reel}/{name}", "frames": 100, "header": HEADER}
    rest = {"clip": name, "reel": reel, "first_timecode": start, "source": source, "row": {}} | given
    return read_record(recorded(f"{reel}-{name}", movie(), **rest))


def rows_of(*records: ClipRecord, title: DayTitle | None = None) -> list[dict[str, str]]:
    shots = [shot_of(record, title or DayTitle()) for record in records]
    text = cameras_csv(shots)
    assert text.endswith("\r\n")
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_an_original_whole_whatever_was_delivered_of_it() -> None:
    """Ten frames of a hundred were delivered, from the thirtieth on."""
    (row,) = rows_of(clip("C1.mov", start="10:00:01:06", first_frame=30, frames=10, capture_rate="48"))
    assert (row["start"], row["end"], row["duration"]) == ("10:00:00:00", "10:00:04:04", "100")
    assert (row["seconds"], row["rate"], row["capture_rate"]) == ("4.167", "24", "48")
    assert (row["camera"], row["camera_model"], row["iso"], row["wb"]) == ("A", "H7", "800", "5600K")


def test_by_camera_card_and_time_with_the_undelivered() -> None:
    failed = read_record(
        failure_record("x", "gone.mov", "failed", "is gone").plain() | {"row": {"camera": "A", "iso": "=1"}}
    )
    found = rows_of(
        clip("C9.mov", "B001"),
        clip("C2.mov", "A002", "09:00:00:00"),
        clip("C1.mov", "A001", "11:00:00:00"),
        clip("C3.mov", "A001", "10:00:00:00"),
        failed,
    )
    assert [row["clip"] for row in found] == ["gone.mov", "C3.mov", "C1.mov", "C2.mov", "C9.mov"]
    assert found[0]["status"] == "failed" and found[0]["iso"] == "'=1" and found[0]["start"] == ""


def test_the_list_goes_before_the_header_and_the_day_before_nothing() -> None:
    title = DayTitle(production="The Lamp Room", day="3", unit="main")
    (row,) = rows_of(clip("C1.mov", row={"iso": "1600", "unit": "second", "note": "two\nlines"}), title=title)
    assert row["iso"] == "1600" and "iso: the list" in row["said_by"]
    assert "wb: its header (cameraCCTSetting)" in row["said_by"]
    assert (row["production"], row["day"], row["unit"]) == ("The Lamp Room", "3", "second")
    assert row["note"] == "two\nlines"


def test_a_record_of_an_older_version_has_what_its_row_says() -> None:
    old = read_record(recorded("a", movie(), row={"camera": "B", "lens": "N35"}))
    (row,) = rows_of(old)
    assert (row["camera"], row["lens"], row["duration"], row["end"]) == ("B", "N35", "", "")


def test_the_page_by_camera_and_card_with_sums() -> None:
    shots = [
        shot_of(clip("C1.mov", row={"circled": "yes", "lens": "N35", "tint": "+3"})),
        shot_of(clip("C2.mov", start="10:30:00:00", row={"circled": "no"})),
        shot_of(clip("C3.mov", "A002")),
        shot_of(clip("D1.mov", "", source={"path": "/x"})),
    ]
    page = cameras_page(shots, "The Lamp Room, day 3")
    assert re.findall(r"<h2>(.*?)</h2>", page) == ["Camera A", "No camera stated"]
    assert re.findall(r"<caption><strong>(.*?)</strong>", page) == ["A001", "A002", "no reel"]
    assert "H7 no. 42 · 3 clips, 0:00:12, 1 circled" in page
    assert "5600K, tint +3" in page and page.count(">circled<") == 1


def test_a_length_that_nobody_knows_is_not_nought() -> None:
    lost = read_record(
        failure_record("x", "x.mov", "failed", "does not open").plain() | {"row": {"camera": "A"}}
    )
    page = cameras_page([shot_of(clip("C1.mov")), shot_of(lost)], "day")
    assert ">0:00:00<" not in page and "2 clips, 0:00:04 and 1 of unknown length" in page
    assert "1 clip, length unknown" in page and "1 clip, 0:00:04<" in page


def test_columns_are_documented_and_those_of_the_cells() -> None:
    assert all(COLUMNS.values())
    assert tuple(shot_of(clip("a.mov")).cells) == tuple(COLUMNS)


@given(st.dictionaries(st.sampled_from([*COLUMNS, "other"]), st.text(max_size=20)), st.text(max_size=12))
def test_whatever_a_row_says(row: dict[str, str], timecode: str) -> None:
    record = read_record(failure_record("x", "a.mov", "failed", "").plain() | {"row": row})
    shot = shot_of(record.model_copy(update={"first_timecode": timecode, "rate": "24"}))
    (cells,) = list(csv.DictReader(io.StringIO(cameras_csv([shot]), newline=""), strict=True))
    assert cells["clip"] == "a.mov"
    cameras_page([shot], "x")


@pytest.mark.parametrize("rate", ["", "0", "a", "24000/1001"])
def test_a_rate_that_is_none_costs_no_line(rate: str) -> None:
    record = read_record(failure_record("x", "a.mov", "failed", "").plain() | {"rate": rate})
    assert shot_of(record).cells["rate"] == ("23.976" if "/" in rate else "")
