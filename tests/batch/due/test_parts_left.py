"""Parts of clips that are not made anew with their clips are named."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from recorded import movie, recorded
from rushlight.batch.due.parts_left import parts_left
from rushlight.batch.records.job_record import JobRecord, read_record


def record(job: str, clip: str, excerpt: str = "", **given: Any) -> JobRecord:
    told = {"excerpt": excerpt} if excerpt else {}
    return read_record(recorded(job, movie(), clip=clip, **told, **given))


def turn(job: str, clip: str) -> Any:
    return SimpleNamespace(spec=SimpleNamespace(job=job, clip=clip))


PART = "01:00:00:00-01:00:00:12"
RECORDS = {
    r.job: r for r in (record("A", "A.mov"), record("A-part", f"A.mov {PART}", PART), record("B", "B.mov"))
}


def test_a_part_of_a_clip_that_is_made_anew() -> None:
    (said,) = parts_left([turn("A", "A.mov"), turn("B", "B.mov")], RECORDS)
    assert said.startswith(
        f"A.mov is made anew; 1 part of it made before ({PART}) stay as they are until asked for again"
    )


def test_nothing_is_said_where_it_is_made_too_or_its_clip_is_not() -> None:
    assert parts_left([turn("A", "A.mov"), turn("A-part", f"A.mov {PART}")], RECORDS) == []
    assert parts_left([turn("B", "B.mov")], RECORDS) == []
    assert parts_left([turn("A", "A.mov")], {"A-part": RECORDS["A-part"]}) == []  # the clip is new there
