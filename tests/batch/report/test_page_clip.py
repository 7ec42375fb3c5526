"""One clip as the page shows it: what plays, what decided its verdict, and stills before and after."""

from __future__ import annotations

from pathlib import Path

import pytest

from recorded import movie, recorded
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.verdicts import CheckVerdict, ClipVerdicts
from rushlight.batch.report.page_clip import PageClip, page_clip, rate_of


def shown(
    folder: Path, outputs: list[dict[str, object]], verdict: str = "", **checks: CheckVerdict
) -> PageClip:
    log = recorded("A001", movie(), frames=48, rate="24000/1001")
    log["outputs"] = outputs
    record = DeliveredRecord.read(log)
    measured = None
    if verdict:
        files = {str(outputs[0]["path"]): {name: check for name, check in checks.items()}}
        measured = ClipVerdicts(
            clip=record.clip,
            job=record.job,
            made=record.finished,
            verdict=verdict,
            checks=checks,
            files=files,
        )
    return page_clip(folder, record, measured)


def test_the_smallest_movie_that_browsers_play_is_played(tmp_path: Path) -> None:
    outputs = [
        movie(),
        movie(output="big", path="big/A 1#.mp4", codec="h264", container="mp4", width=1920),
        movie(output="viewing", path="viewing/A 1#.mp4", codec="h264", container="mp4", width=1280),
        movie(output="small", path="small/A1.mp4", codec="hevc", container="mp4", width=640),
    ]
    assert shown(tmp_path, outputs).play == "../viewing/A%201%23.mp4"
    assert shown(tmp_path, outputs[:1]).play == ""


def test_the_figure_and_limit_that_decided(tmp_path: Path) -> None:
    good = CheckVerdict(verdict="pass", text="", mean=0.21, p95=0.4, worst=0.9, unit="CIEDE2000")
    clip = shown(tmp_path, [movie()], "pass", colour=good, frames=CheckVerdict(verdict="pass", text=""))
    assert clip.decided == "editorial: mean colour difference 0.21 of 0.6 CIEDE2000 allowed"
    bad = CheckVerdict(verdict="fail", text="47 frames, 48 logged")
    assert (
        shown(tmp_path, [movie()], "fail", colour=good, frames=bad).decided == "frames: 47 frames, 48 logged"
    )
    assert shown(tmp_path, [movie()]).decided == ""
    plain = CheckVerdict(verdict="pass", text="")
    assert shown(tmp_path, [movie()], "pass", frames=plain).decided == "all checks pass"


def test_a_bad_file_has_an_address_where_it_is_there(tmp_path: Path) -> None:
    bad = CheckVerdict(verdict="fail", text="the file's bytes have changed")
    gone = shown(tmp_path, [movie(path="editorial/A 1.mov")], "fail", hash=bad)
    assert gone.bad_files == [("editorial/A 1.mov", "")]
    (tmp_path / "editorial").mkdir()
    (tmp_path / "editorial" / "A 1.mov").write_bytes(b"x")
    assert shown(tmp_path, [movie(path="editorial/A 1.mov")], "fail", hash=bad).bad_files == [
        ("editorial/A 1.mov", "../editorial/A%201.mov")
    ]
    assert shown(tmp_path, [movie()], "pass", hash=CheckVerdict(verdict="pass", text="")).bad_files == []


def test_notes_of_the_library_are_no_part_of_the_header_that_is_shown(tmp_path: Path) -> None:
    log = recorded("A001", movie())
    log["source"]["header"] = {"oiio:BitsPerSample": "10", "dpx:InputDevice": "H7"}
    record = DeliveredRecord.read(log)
    assert page_clip(tmp_path, record, None).header == [("model of the camera", "H7")]
    assert record.source.header["oiio:BitsPerSample"] == "10"


@pytest.mark.parametrize(
    ("rate", "said"), [("24000/1001", "23.976"), ("25", "25"), ("30000/1001", "29.97"), ("x", "24")]
)
def test_speeds_as_people_say_them(rate: str, said: str, tmp_path: Path) -> None:
    log = recorded("A001", movie(), frames=48, rate=rate)
    assert page_clip(tmp_path, DeliveredRecord.read(log), None).speed == said
    assert rate_of(rate) > 0
