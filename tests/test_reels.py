"""Overlapping timecode and disagreeing reels are said."""

from pathlib import Path

from pictures import numbered, write_movie
from rushlight.batch.prepare import prepare
from rushlight.batch.request import Request


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
        "reel A001: A001C001.mov and A001C002.mov overlap in timecode by 1 frame(s)",
    ]
