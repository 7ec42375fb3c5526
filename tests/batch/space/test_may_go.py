"""What may go: only superseded files as the log has them, beyond the newest, old enough, that nothing needs."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from logged import append_record, latest, read_records
from rushlight.batch.job_log import read_records as records_of
from rushlight.batch.records.files import Output
from rushlight.batch.records.space import SpacePolicy
from rushlight.batch.space.may_go import Choice, choose
from rushlight.batch.space.survey import survey
from rushlight.batch.what_is_there import still_there
from superseded import NOW, revised


def chosen(
    out: Path,
    keep: int = 0,
    days: int | None = None,
    named: dict[str, str] | None = None,
    there: Callable[[Output], bool] | None = None,
) -> Choice:
    return choose(
        survey(out).files,
        records_of(out),
        SpacePolicy(keep_revisions=keep, older_than=days),
        named=named or {},
        now=NOW.timestamp(),
        there=there or (lambda entry: still_there(out, entry)),
    )


def going(choice: Choice) -> list[str]:
    return [each.path for each in choice.may_go]


def both(*revisions: int) -> list[str]:
    kinds = ("editorial/A001C001.mov", "viewing/A001C001.mp4")
    return [f"revisions/{number}/{path}" for number in revisions for path in kinds]


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return revised(tmp_path / "out")


@pytest.mark.parametrize(
    ("keep", "days", "gone"),
    [
        (0, None, (1, 2, 3)),
        (1, None, (1, 2)),
        (2, None, (1,)),
        (3, None, ()),
        (0, 1, (1, 2)),  # replaced 2, 1 and 0 days ago
        (0, 2, (1,)),
        (1, 2, (1,)),
        (2, 1, (1,)),
        (0, 3, ()),
    ],
)
def test_the_policy(out: Path, keep: int, days: int | None, gone: tuple[int, ...]) -> None:
    found = chosen(out, keep, days)
    assert going(found) == both(*gone)
    assert len(found.may_go) + sum(each.files for each in found.stays) == 6


def test_what_it_says_of_each(out: Path) -> None:
    first = chosen(out, 2).may_go[0]
    entry = read_records(out)[0]["outputs"][0]
    assert (first.hash, first.bytes, first.mtime_ns) == (entry["hash"], entry["bytes"], entry["mtime_ns"])
    assert (first.kind, first.job, first.output, first.revision) == ("revision", "A001C001", "editorial", 1)
    assert first.replaced == read_records(out)[1]["finished"]
    said = {each.why: (each.files, each.bytes) for each in chosen(out, 2).stays}
    size = len("A001C001 revision 2")
    assert said == {"among the 2 newest revisions of its clip and output": (4, 2 * (2 + 3) * size)}


def test_what_a_delivery_names_stays(out: Path) -> None:
    named = {read_records(out)[0]["outputs"][0]["hash"]: "editor_001"}
    found = chosen(out, named=named)
    assert going(found) == [both(1)[1], *both(2, 3)]
    assert [each.why for each in found.stays] == ["handed over in editor_001"]


@pytest.mark.parametrize("change", ["content", "time", "foreign"])
def test_what_is_not_as_the_log_has_it_stays(out: Path, change: str) -> None:
    place = out / "revisions/1/editorial/A001C001.mov"
    if change == "content":
        place.unlink()
        place.write_bytes(b"somebody's")
    elif change == "time":
        os.utime(place, ns=(1, 1))
    else:
        place = place.with_name("mine.mov")
        place.write_bytes(b"mine")
    found = chosen(out)
    assert place.relative_to(out).as_posix() not in going(found)
    assert any(each.why == "not as the log has it, or not of its files" for each in found.stays)


def test_the_newest_stays_where_the_clips_own_file_is_gone(out: Path) -> None:
    (out / "editorial" / "A001C001.mov").unlink()
    found = chosen(out)
    assert going(found) == [*both(1, 2), "revisions/3/viewing/A001C001.mp4"]
    assert [each.why for each in found.stays] == ["the newest of its clip, whose own file is not there"]


def test_what_was_put_by_for_another_clips_name_stays_until_it_is_made(out: Path) -> None:
    last = latest(read_records(out))["A001C001"]
    outputs = [e for e in last["outputs"] if e["output"] == "viewing"]
    append_record(out, last | {"status": "failed", "error": "x", "outputs": outputs})
    assert going(chosen(out)) == [*both(1, 2), "revisions/3/viewing/A001C001.mp4"]


def test_a_file_that_no_record_has_replaced_yet_stays(out: Path) -> None:
    """A night linked it, or moved it where there are no links, and was killed before its record."""
    now = out / "revisions/4/editorial/A001C001.mov"
    now.parent.mkdir(parents=True)
    os.link(out / "editorial/A001C001.mov", now)
    found = chosen(out)
    assert now.relative_to(out).as_posix() not in going(found)
    assert [each.why for each in found.stays] == ["its clip has nothing newer yet"]
    lines = (out / "log/jobs.jsonl").read_text().splitlines(keepends=True)
    lines[1] = lines[1].replace('"replaced"', '"unknown"')
    (out / "log/jobs.jsonl").write_text("".join(lines))
    assert going(chosen(out)) == both(2, 3)


def test_a_damaged_line_of_the_log_costs_nothing(out: Path) -> None:
    """What its record replaced is not known to be replaced, so it stays."""
    lines = (out / "log/jobs.jsonl").read_text().splitlines(keepends=True)
    for number in range(4):
        torn = [*lines[:number], lines[number][:99] + "\n", *lines[number + 1 :]]
        (out / "log/jobs.jsonl").write_text("".join(torn))
        found = going(chosen(out, there=lambda entry: True))
        assert set(found) <= set(both(1, 2, 3)) and not set(both(number + 1, number)) & set(found)


def test_older_records_without_a_hash_of_what_they_replaced(out: Path) -> None:
    log = out / "log/jobs.jsonl"
    records = read_records(out)
    log.unlink()
    for record in records:
        for old in record.get("replaced", ()):
            del old["hash"]
        append_record(out, record)
    assert going(chosen(out, 1)) == both(1, 2)


def test_a_time_that_is_none_is_not_old(out: Path) -> None:
    text = (out / "log/jobs.jsonl").read_text()
    (out / "log/jobs.jsonl").write_text(text.replace("2026-11-26T04:00:00+00:00", "long ago"))
    assert going(chosen(out, 0, 1)) == both(2) and going(chosen(out, 2)) == both(1)


def work(out: Path, days: float, job: str = "A001C002") -> Path:
    """A file of a segment, so many days old."""
    place = out / ".work" / job / "0.mov"
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(b"segment")
    when = NOW.timestamp() - days * 86_400
    os.utime(place, (when, when))
    return place


@pytest.mark.parametrize(
    ("written", "days", "goes"),
    [
        (9.1, 9, True),
        (9.1, None, False),  # only where days are stated
        (9.1, 10, False),  # finished 9 days ago
        (8.0, 5, False),  # in hand again since
    ],
)
def test_what_a_finished_clip_left(out: Path, written: float, days: int | None, goes: bool) -> None:
    work(out, written)
    found = [each for each in chosen(out, 9, days).may_go if each.kind == "work"]
    assert [each.path for each in found] == ([".work/A001C002"] if goes else [])
    if goes:
        assert (found[0].files, found[0].bytes, found[0].clip) == (1, 7, "A001C002")


def test_other_work_stays(out: Path) -> None:
    """Of a clip that was not delivered, of one that nobody knows, and the queue's own."""
    work(out, 99)
    work(out, 99, "nobody")
    for name in ("queue.sqlite", "runner"):
        (out / ".work" / name).write_bytes(b"x")
    (out / ".work" / "renamed").mkdir()
    (out / ".work" / "renamed" / "parked").write_bytes(b"a clip's own")
    record: dict[str, Any] = latest(read_records(out))["A001C002"]
    append_record(out, record | {"job": "renamed"})
    append_record(out, record | {"status": "failed", "error": "x"})
    assert going(chosen(out, 9, 1)) == []
