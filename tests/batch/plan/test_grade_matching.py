"""Dates on decisions, rows and headers tell twins and repeated timecodes apart, and never decide alone."""

from fractions import Fraction
from pathlib import Path

import av
import pytest

from pictures import numbered
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.lists.recording_dates import header_date, row_date
from rushlight.batch.plan.grade_matching import _of_reel
from rushlight.batch.plan.model import Plan
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.originals.probe import probe


def dated(path: Path, made: str, timecode: str = "10:00:00:00", reel: str = "A001") -> Path:
    """A movie whose container states when it was made."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with av.open(str(path), "w") as out:
        if made:
            out.metadata["creation_time"] = made
        stream = out.add_stream("prores_ks", rate=24)
        frame = numbered(0)
        stream.width, stream.height, stream.pix_fmt = frame.width, frame.height, frame.format.name
        stream.metadata.update({"timecode": timecode, "reel_name": reel})
        frame.pts, frame.time_base = 0, Fraction(1, 24)
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def planned(place: Path, rows: str, grades: str = "", recipe: str = "") -> Plan:
    (place / "day.csv").write_text(rows)
    (place / "g.csv").write_text(grades or "id,saturation\nnone,1\n")
    (place / "r.toml").write_text(
        recipe + '\n[[output]]\nname = "o"\nmake = "movie"\ncodec = "prores-proxy"\n'
    )
    return prepare(
        Request(
            clip_list=place / "day.csv",
            media=(place / "media",),
            grades=(place / "g.csv",),
            recipe=str(place / "r.toml"),
            encoding="LogC3",
        )
    ).plan


def saturations(plan: Plan) -> list[float | None]:
    return [c.decision.cdl and c.decision.cdl.saturation for c in plan.clips]


@pytest.fixture
def twins(tmp_path: Path) -> Path:
    """One name, reel and timecode on two days."""
    dated(tmp_path / "media" / "one" / "C0001.mov", "2026-05-04T09:00:00Z")
    dated(tmp_path / "media" / "two" / "C0001.mov", "2026-05-05T09:00:00Z")
    return tmp_path


def test_what_headers_and_rows_say(tmp_path: Path) -> None:
    facts = probe(dated(tmp_path / "a.mov", "2026-05-04T23:30:00Z"))
    assert str(header_date(facts, None)) == "2026-05-04" and str(header_date(facts, 7200)) == "2026-05-05"
    assert header_date(probe(dated(tmp_path / "b.mov", "")), None) is None
    for cells, wanted in (
        ({"date": "2026-05-04"}, "2026-05-04"),
        ({"day": "2026-05-04", "date": "x"}, "2026-05-04"),
        ({"day": "3"}, "None"),
    ):
        assert str(row_date(Row(file="", line=1, clip="", cells=cells))) == wanted


@pytest.mark.parametrize(
    ("date", "card"), [("2026-05-04", "one"), ("2026-05-05", "two"), ("2026-05-06", ""), ("day 4", "")]
)
def test_a_rows_date_tells_originals_apart(twins: Path, date: str, card: str) -> None:
    plan = planned(twins, f"clip,date\nC0001.mov,{date}\n")
    assert [c.path.parent.name for c in plan.clips] == ([card] if card else [])
    assert card or "2 originals" in str(plan.wrong[0][1])


ROWS = "clip,date\none/C0001.mov,{}\ntwo/C0001.mov,{}\n"


def test_a_decisions_date_is_the_rows_or_else_the_headers(twins: Path) -> None:
    grades = "id,date,saturation\nC0001,2026-05-04,0.1\nC0001,2026-05-05,0.2\n"
    assert saturations(planned(twins, ROWS.format("2026-05-04", "2026-05-05"), grades)) == [0.1, 0.2]
    assert saturations(planned(twins, ROWS.format("2026-05-05", "2026-05-04"), grades)) == [
        0.2,
        0.1,
    ]  # as stated
    assert saturations(planned(twins, ROWS.format("", ""), grades)) == [0.1, 0.2]  # as the headers have it
    plan = planned(twins, ROWS.format("2026-05-06", "2026-05-06"), grades)
    assert saturations(plan) == [None, None]
    by_place = (
        "reel,timecode,date,saturation\nA001,10:00:00:00,2026-05-04,0.3\nA001,10:00:00:00,2026-05-05,0.4\n"
    )
    assert saturations(planned(twins, ROWS.format("", ""), by_place)) == [0.3, 0.4]


def test_one_dated_decision_is_one_twins_and_the_other_is_set_aside(twins: Path) -> None:
    plan = planned(twins, ROWS.format("", ""), "id,date,saturation\nC0001,2026-05-05,0.2\n")
    assert saturations(plan) == [0.2] and plan.clips[0].path.parent.name == "two"
    assert [(row.line, error.key) for row, error in plan.wrong] == [(2, "cdl")]
    plan = planned(
        twins, ROWS.format("2026-05-04", "2026-05-05"), "id,date,saturation\nC0001,2026-05-05,0.2\n"
    )
    assert saturations(plan) == [None, 0.2] and not plan.wrong


def test_a_lone_decision_is_not_lost_to_a_header_that_a_copy_made(tmp_path: Path) -> None:
    dated(tmp_path / "media" / "C0001.mov", "2026-06-30T09:00:00Z")
    assert saturations(
        planned(tmp_path, "clip\nC0001.mov\n", "id,date,saturation\nC0001,2026-05-04,0.1\n")
    ) == [0.1]


def test_the_change_record_takes_a_headers_date_only_where_the_zone_is_stated(tmp_path: Path) -> None:
    dated(tmp_path / "media" / "A001C001.mov", "2026-05-04T23:30:00Z", "01:30:00:00")
    record = "date,timecode,rate,saturation\n2026-05-05,01:00:00:00,24,0.1\n"
    plan = planned(tmp_path, "clip\nA001C001.mov\n", record)
    assert "its header says 2026-05-04, in UTC" in str(plan.wrong[0][1])
    assert saturations(
        planned(tmp_path, "clip\nA001C001.mov\n", record, 'changes.utc_offset = "+02:00"\n')
    ) == [0.1]
    plan = planned(tmp_path, "clip,day\nA001C001.mov,today\n", record, 'changes.utc_offset = "+02:00"\n')
    assert "'today' is no date" in str(plan.wrong[0][1])


def test_a_twin_that_does_not_open_is_passed_over(twins: Path) -> None:
    (twins / "media" / "one" / "C0001.mov").write_bytes(b"junk")
    plan = planned(twins, "clip,reel\nC0001.mov,A001\n")
    assert [c.path.parent.name for c in plan.clips] == ["two"]
    plan = planned(twins, "clip\nC0001.mov\n")  # nothing is said that tells them apart
    assert not plan.clips and "2 originals" in str(plan.wrong[0][1])


def test_later_changes_are_candidates_also_where_nothing_held(tmp_path: Path) -> None:
    dated(tmp_path / "media" / "A001C001.mov", "")
    record = "date,timecode,rate,saturation\n" + "".join(
        f"2026-05-04,10:00:0{n}:00,24,0.{n}\n" for n in range(1, 7)
    )
    plan = planned(tmp_path, "clip,date\nA001C001.mov,2026-05-04\n", record)
    assert saturations(plan) == [None]
    assert [x.cdl.saturation for x in plan.clips[0].decision.later] == [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]


@pytest.mark.parametrize(
    ("folder", "reel", "fits"),
    [
        ("A001", "a001", True),
        ("A001_card", "a001", True),
        ("A001R2EC", "a001", True),
        ("A0012", "a001", False),
        ("XA001", "a001", False),
        ("archive", "a", False),
        ("A_1", "a", True),
        ("", "a001", False),
    ],
)
def test_folders_called_by_a_reel(folder: str, reel: str, fits: bool) -> None:
    assert _of_reel(folder, reel) == fits
