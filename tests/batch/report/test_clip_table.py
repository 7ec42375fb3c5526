"""The clip table: what it says of each file, in RFC 4180, and nothing that two clips could share."""

import csv
import io
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from recorded import movie, recorded
from rushlight.batch.records.day_title import DayTitle
from rushlight.batch.records.job_record import DeliveredRecord, read_record
from rushlight.batch.report.clip_table import COLUMNS, clips_by_folder, clips_csv
from rushlight.pipelines.outputs.mxf_packages import umids_of

UMID = umids_of("a", "").material


def record(*outputs: dict[str, Any], job: str = "a-1", **more: Any) -> DeliveredRecord:
    found = read_record(recorded(job, *outputs, **more))
    assert isinstance(found, DeliveredRecord)
    return found


def table(
    *records: DeliveredRecord, folder: str = "editorial", title: DayTitle | None = None
) -> list[dict[str, str]]:
    text = clips_csv(clips_by_folder(records, title or DayTitle())[folder])
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_all_that_is_known_of_a_file() -> None:
    picture = {"digest": "rushlight-picture-1:ab", "outputs": ["editorial"]}
    made = record(
        movie(
            path="editorial/A001/A001C003.mxf", container="mxf", clip_name="A001C003", umid=UMID, frames=50, card=2, rate="23.976",
            first_timecode="09:59:59:22", hash="xxh3_128:" + "a" * 32, revision=2,
        ),
        rate="23.976", frames=48, first_timecode="10:00:00:00",
        row={"scene": "12A", "take": "3", "circled": "yes", "note": 'soft, "late"', "day": "4"},
        sound={"kind": "production", "roll": "S03", "files": [[{"path": "/s/T1.wav", "bytes": 1, "mtime_ns": 1}]]},
        look={"digest": "sha256:1", "description": "LogC3, CDL", "layers": [], "grade": None},
        source={"path": "/cards/A001/A001C003.mov", "hash": "xxh3:12"},
        colour={"digest": "d", "pictures": [picture], "tiles": {}, "sensitivity": {}},
    )  # fmt: skip
    (row,) = table(made, title=DayTitle(production="The Lamp Room", day="12", unit="main"))
    assert row == {
        "clip": "A001C003", "file": "A001/A001C003.mxf", "reel": "A001", "start": "09:59:59:22", "end": "10:00:02:00",
        "rate": "23.976", "duration": "50", "in": "", "out": "", "card": "2", "umid": UMID,
        "reel_umid": umids_of("", "A001").reel, "scene": "12A", "take": "3", "camera": "A", "circled": "yes",
        "note": 'soft, "late"', "sound_roll": "S03", "sound_files": "T1.wav", "state": "graded", "look": "LogC3, CDL",
        "look_digest": "sha256:1", "display": "Rec.709 BT.1886", "colour_digest": "rushlight-picture-1:ab",
        "codec": "dnxhr-lb", "raster": "1920x1080", "output": "editorial", "revision": "2", "hash": "xxh3_128:" + "a" * 32,
        "original": "A001C003.mov", "original_hash": "xxh3:12", "production": "The Lamp Room", "day": "4", "unit": "main",
    }  # fmt: skip


def test_a_record_of_an_older_version_has_its_line() -> None:
    (row,) = table(record(movie()))
    assert (row["clip"], row["umid"], row["reel_umid"]) == ("A001C001", "", "")
    assert (row["start"], row["end"], row["duration"]) == ("01:00:00:00", "01:00:02:00", "48")


def test_the_range_of_a_row_lies_within_its_handles() -> None:
    """10 frames of handles were delivered on both sides of 01:00:00:12 to 01:00:01:12; a card of 5 is before them."""
    made = movie(frames=49, card=5, first_timecode="00:59:59:21")
    told = {"frames": 44, "first_frame": 2, "first_timecode": "01:00:00:02", "last_timecode": "01:00:01:21"}
    for row_in, row_out in (
        ("01:00:00:12", "01:00:01:12"),
        ("12", "36"),
    ):  # timecodes, and the original's numbers
        (row,) = table(record(made, **told, row={"in": row_in, "out": row_out}))
        assert (row["in"], row["out"]) == ("01:00:00:12", "01:00:01:12")
    (row,) = table(record(made, **told, row={"in": "12"}))
    assert (row["in"], row["out"]) == ("01:00:00:12", "01:00:01:22")  # to the end of what is there
    for wrong in ({"in": "nonsense"}, {"in": "90", "out": "80"}, {"out": "99:00:00:00"}):
        (row,) = table(record(made, **told, row=wrong))
        assert (row["in"], row["out"]) == ("", "")


def test_a_clip_over_midnight() -> None:
    (row,) = table(record(movie(first_timecode="23:59:59:00", frames=48)))
    assert (row["start"], row["end"]) == ("23:59:59:00", "00:00:01:00")


def test_drop_frame_is_told_by_its_sign() -> None:
    (row,) = table(record(movie(first_timecode="10:00:59;28", rate="29.97", frames=4), rate="29.97"))
    assert (row["start"], row["end"]) == ("10:00:59;28", "10:01:00;04")


def test_each_folder_has_its_own_movies_and_stills_have_none() -> None:
    found = clips_by_folder([record(movie(), movie(output="viewing", path="viewing/a.mp4"))])
    assert {folder: [c.file for c in clips] for folder, clips in found.items()} == {
        "editorial": ["A001C001.mov"], "viewing": ["a.mp4"],
    }  # fmt: skip


def test_a_table_is_no_program_and_one_line_a_file() -> None:
    made = record(movie(), row={"note": "=cmd|' /C calc'!A0", "scene": "-1", "take": "\u202e@x\r\ntwo"})
    (row,) = table(made)
    assert row["note"].startswith("'=") and row["scene"] == "-1" and "\u202e" not in row["take"]
    text = clips_csv(clips_by_folder([made])["editorial"])
    assert text.startswith(",".join(COLUMNS) + "\r\n") and text.endswith("\r\n")


@given(
    st.dictionaries(
        st.sampled_from(["scene", "take", "note", "circled", "camera", "in", "out", "day"]),
        st.text(max_size=20),
    )
)
def test_whatever_a_row_says_the_table_reads_again(row: dict[str, str]) -> None:
    rows = table(record(movie(), row=row), record(movie(path="editorial/b.mov"), job="b-1", row=row))
    assert [r["file"] for r in rows] == ["A001C001.mov", "b.mov"]
    assert all(len(r) == len(COLUMNS) and None not in r for r in rows)


def test_every_column_is_explained() -> None:
    assert all(COLUMNS.values())
