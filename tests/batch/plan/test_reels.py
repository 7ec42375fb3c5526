"""Overlapping timecode and disagreeing reels are said."""

from pathlib import Path

from pictures import numbered, write_movie
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request


def test_overlap_and_disagreement_are_said(tmp_path: Path) -> None:
    frames = [numbered(n) for n in range(4)]
    for name, timecode, reel in (
        ("A001C001", "10:00:00:00", "A001"),
        ("A001C002", "10:00:00:03", "A001"),
        ("A001C003", "10:00:00:07", "A001"),
        ("B001C001", "10:00:00:00", "A002"),
    ):
        write_movie(tmp_path / f"{name}.mov", frames, timecode=timecode, reel=reel)
    (tmp_path / "day.csv").write_text(
        "clip,encoding\n"
        + "".join(f"{n}.mov,v-log\n" for n in ("A001C002", "A001C001", "A001C003", "B001C001"))
    )
    said = prepare(Request(clip_list=tmp_path / "day.csv")).plan.warnings
    assert said == [
        "B001C001.mov: its reel is A002, its file name says B001",
        "reel A001: A001C001.mov and A001C002.mov overlap in timecode by 1 frame",
    ]


def test_a_long_clip_overlaps_more_than_the_next_and_other_dates_are_not_compared(tmp_path: Path) -> None:
    for name, timecode, length in (
        ("A001C001", "10:00:00:00", 12),
        ("A001C002", "10:00:00:03", 2),
        ("A001C003", "10:00:00:08", 2),
    ):
        write_movie(tmp_path / f"{name}.mov", [numbered(n) for n in range(length)], timecode=timecode)
    (tmp_path / "day.csv").write_text(
        "clip,encoding\n" + "".join(f"A001C00{n}.mov,v-log\n" for n in (1, 2, 3))
    )
    said = prepare(Request(clip_list=tmp_path / "day.csv")).plan.warnings
    assert [s.partition("mov and ")[2] for s in said] == [
        "A001C002.mov overlap in timecode by 2 frames",
        "A001C003.mov overlap in timecode by 2 frames",
    ]
    (tmp_path / "day.csv").write_text(
        "clip,encoding,date\n" + "".join(f"A001C00{n}.mov,v-log,2026-05-0{n}\n" for n in (1, 2, 3))
    )
    assert prepare(Request(clip_list=tmp_path / "day.csv")).plan.warnings == []


def test_files_of_a_folder_that_may_be_one_clip_are_pointed_out_and_not_joined(tmp_path: Path) -> None:
    frames = [numbered(n) for n in range(3)]
    for name, timecode in (
        ("C7_01", "10:00:00:00"),
        ("C7_02", "10:00:00:03"),
        ("C7_03", "10:00:00:06"),
        ("C7_05", "10:00:00:09"),
    ):
        write_movie(tmp_path / f"{name}.mov", frames, timecode=timecode, reel="A001")
    plan = prepare(Request(clip_list=tmp_path, encoding="LogC3")).plan
    assert len(plan.clips) == 4
    assert plan.warnings == [
        "C7_01.mov to C7_03.mov run on in timecode; if they are one clip, a row C7_##.mov joins them"
    ]
