""".otio lists: written by opentimelineio itself, from an EDL and by hand; hostile documents."""

import re
from pathlib import Path

import opentimelineio as otio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pictures import numbered, write_movie
from rushlight.batch.edl import read_edl
from rushlight.batch.prepare import prepare
from rushlight.batch.request import Request
from rushlight.batch.timelines import read_timeline
from rushlight.pipelines.cdl import CDL
from rushlight.pipelines.errors import ListError

EDL = """TITLE: day
FCM: NON-DROP FRAME
001  A001 V     C        01:00:00:01 01:00:00:03 01:00:00:00 01:00:00:02
* FROM CLIP NAME: A001C001
* ASC_SOP (1.1 1.0 0.9) (0.01 0.0 -0.01) (1.0 1.02 1.0)
* ASC_SAT 0.9
"""
T = otio.opentime.RationalTime


def written(clip: otio.schema.Clip) -> str:
    timeline = otio.schema.Timeline()
    track = otio.schema.Track(kind="Video")
    track.append(clip)
    timeline.tracks.append(track)
    return str(otio.adapters.write_to_string(timeline, "otio_json"))


def clip_of(first: float, count: float, rate: float, start: float | None, url: str = "") -> otio.schema.Clip:
    known = None if start is None else otio.opentime.TimeRange(T(start, rate), T(100, rate))
    return otio.schema.Clip(
        name="A001C001",
        media_reference=otio.schema.ExternalReference(target_url=url, available_range=known),
        source_range=otio.opentime.TimeRange(T(first, rate), T(count, rate)),
    )


def test_an_edl_through_opentimelineio_says_the_same(tmp_path: Path) -> None:
    timeline = otio.adapters.read_from_string(EDL, "cmx_3600", rate=24)
    (row,) = read_timeline(otio.adapters.write_to_string(timeline, "otio_json"), file="day.otio").rows
    (same,) = read_edl(EDL, file="day.edl").rows
    assert (row.clip, row["in"], row["out"], row.grade) == (same.clip, same["in"], same["out"], same.grade)
    assert row.grade == CDL(
        slope=(1.1, 1.0, 0.9), offset=(0.01, 0.0, -0.01), power=(1.0, 1.02, 1.0), saturation=0.9
    )


def test_planned_from_its_file(tmp_path: Path) -> None:
    write_movie(tmp_path / "A001 C001.mov", [numbered(k) for k in range(6)])
    clip = clip_of(86402, 3, 24, 86400, "file:///Volumes/day/A001%20C001.mov")
    (tmp_path / "day.otio").write_text(written(clip))
    plan = prepare(Request(clip_list=tmp_path / "day.otio", media=(tmp_path,), encoding="LogC3")).plan
    (found,) = plan.clips
    assert (found.first, found.count, found.stem, str(found.timecode)) == (2, 3, "A001 C001", "01:00:00:02")


def test_what_is_not_known_is_a_problem_of_its_row() -> None:
    rate = 30000 / 1001
    (row,) = read_timeline(written(clip_of(1000, 10, rate, None))).rows
    assert row.problem and "drop-frame" in str(row.problem)
    (row,) = read_timeline(written(clip_of(1010, 10, rate, 1000))).rows
    assert not row.problem and (row["in"], row["out"]) == ("10", "20")
    clip = clip_of(0, 10, 24, 0)
    clip.effects.append(otio.schema.LinearTimeWarp(time_scalar=2.0))
    assert "effects" in str(read_timeline(written(clip)).rows[0].problem)
    clip = clip_of(0, 10, 24, 0)
    clip.metadata["cdl"] = {"asc_sop": {"slope": [1, 2], "offset": [0, 0, 0], "power": [1, 1, 1]}}
    assert "CDL" in str(read_timeline(written(clip)).rows[0].problem)


@pytest.mark.parametrize("text", ["", "{}", "[]", "[" * 100_000, '{"OTIO_SCHEMA": "Clip.2"}', "\0"])
def test_no_timeline(text: str) -> None:
    with pytest.raises(ListError):
        read_timeline(text, file="day.otio")


@given(st.text(max_size=300))
def test_junk_is_a_clear_error(text: str) -> None:
    with pytest.raises(ListError):
        read_timeline(text)


@given(st.data())
def test_a_damaged_document_is_rows_or_a_clear_error(data: st.DataObject) -> None:
    clip = clip_of(5, 10, 24, 0, "file:///x/A001C001.mov")
    clip.metadata["cdl"] = {
        "asc_sop": {"slope": [1, 1, 1], "offset": [0, 0, 0], "power": [1, 1, 1]},
        "asc_sat": 0.9,
    }
    text = written(clip)
    for _ in range(data.draw(st.integers(1, 3))):
        at, length = data.draw(st.integers(0, len(text))), data.draw(st.integers(0, 40))
        text = (
            text[:at]
            + data.draw(st.sampled_from(["", "null", "[]", "{}", "-1", "1e400", '"x"', ",", "NaN"]))
            + text[at + length :]
        )
    try:
        for row in read_timeline(text, file="x.otio").rows:
            assert row.clip
    except ListError as error:
        assert error.file == "x.otio"


@pytest.mark.parametrize("value", ["null", "[]", "{}", "-1", "1e400", '"x"', "true", "[[]]", "1e999999999"])
def test_any_one_value_replaced_is_rows_or_a_clear_error(value: str) -> None:
    clip = clip_of(5, 10, 24, 0, "file:///x/A001C001.mov")
    clip.metadata["cdl"] = {
        "asc_sop": {"slope": [1, 1, 1], "offset": [0, 0, 0], "power": [1, 1, 1]},
        "asc_sat": 0.9,
    }
    text = written(clip)
    for match in re.finditer(r'": ("[^"]*"|[-\d.]+|true|false|null)', text):
        changed = text[: match.start(1)] + value + text[match.end(1) :]
        try:
            read_timeline(changed, file="x.otio")
        except ListError as error:
            assert error.file == "x.otio"
