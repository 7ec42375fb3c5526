"""The day by scene: clips that were not delivered stand in their scene, after those that were."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from recorded import movie, recorded
from rushlight.batch.plan.request_ledger import Day
from rushlight.batch.records.job_record import DeliveredRecord, UndeliveredRecord
from rushlight.batch.records.summary import Missing
from rushlight.batch.report.page_clip import PageClip, page_clip
from rushlight.batch.report.page_scenes import lost_clip, scenes_of, spanned


def made(folder: Path, name: str, scene: str, first: str) -> PageClip:
    log = recorded(name, movie(), row={"scene": scene}, first_timecode=first)
    return page_clip(folder, DeliveredRecord.read(log), None)


def lost(name: str, **row: str) -> UndeliveredRecord:
    return UndeliveredRecord.read(
        recorded(name, row=row) | {"status": "failed", "error": "/out/x.mov: no space left on the disk"}
    )


def test_lost_clips_stand_in_their_scene_and_scenes_without_any_other_come_last(tmp_path: Path) -> None:
    clips = [made(tmp_path, "A2", "14", "02:00:00:00"), made(tmp_path, "A1", "3", "01:00:00:00")]
    scenes = scenes_of(
        clips, [lost_clip(lost(n, scene=s), EMPTY) for n, s in (("Z", ""), ("C", "14"), ("B", "14"))]
    )
    assert [(s.title, [c.name for c in s.takes], [c.name for c in s.lost]) for s in scenes] == [
        ("Scene 3", ["A1"], []),
        ("Scene 14", ["A2"], ["B", "C"]),
        ("No scene stated", [], ["Z"]),
    ]


def test_a_lost_clip_is_as_its_row_has_it_and_says_what_to_do() -> None:
    clip = lost_clip(lost("A 1", scene="14", take="2", circled="yes", camera="B"), EMPTY)
    assert (clip.anchor, clip.take, clip.circled, clip.camera_letter) == ("A-1", "2", True, "B")
    assert clip.status == "failed" and "Make room" in clip.step


def test_a_clip_whose_encoding_nobody_states_has_the_lines_that_the_terminal_prints() -> None:
    log = recorded("B1", row={"scene": "14"}) | {
        "status": "set aside",
        "error": "day.csv:3: encoding: is not stated",
    }
    record = UndeliveredRecord.read(log)
    clip = lost_clip(record, replace(EMPTY, missing=(missing("B1"),)))
    assert clip.error == missing("B1").text
    assert clip.step == 'Put this into day.toml:\n[[default]]\ncamera = "B"\nencoding = "NAME"'
    assert missing("B1").said("").endswith(clip.step), "the terminal's own words"
    more_is_wrong = lost_clip(record, replace(EMPTY, missing=(missing(),)))
    assert more_is_wrong.error == record.error and "Mend that line" in more_is_wrong.step


def missing(*alone: str) -> Missing:
    return Missing(
        key="encoding",
        camera="camera B",
        text="nobody states the encoding of camera B, 1 clip: B1 (dnxhd, 960x540)",
        clips=["B1"],
        alone=list(alone),
        suggested="",
        file="day.toml",
        lines='[[default]]\ncamera = "B"\nencoding = "NAME"',
    )


EMPTY = Day(entries=(), media=None)


def test_clips_on_the_days_line(tmp_path: Path) -> None:
    one, two = spanned([made(tmp_path, "A1", "", "01:00:00:00"), made(tmp_path, "A2", "", "01:00:08:00")])
    assert (one.left, one.wide) == (0, 20) and (two.left, two.wide) == (80, 20)
