"""The log of what was cleared: of a name with its hash, read back through damage, and silent of what is there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from rushlight.batch.cleared_log import CLEARED_LOG, add_cleared, cleared_before, cleared_files, read_cleared
from rushlight.batch.records.job_record import Replaced
from rushlight.batch.records.space import Cleared
from rushlight.pipelines.errors import OutsideError

HASH = "xxh3_128:" + "1" * 32


def line(path: str = "revisions/1/a/x.mov", digest: str = HASH) -> Cleared:
    return Cleared.read(
        {
            "schema": "rushlight-cleared-1",
            "kind": "revision",
            "path": path,
            "files": 1,
            "bytes": 3,
            "hash": digest,
            "job": "x",
            "clip": "x",
            "output": "a",
            "revision": 1,
            "rule": "keep_revisions = 2",
            "cleared": "2026-11-28T04:00:00+00:00",
            "made_by": "0.2.0",
        }
    )


def old(kept: str = "revisions/1/a/x.mov", digest: str = HASH) -> Replaced:
    return Replaced(output="a", path="a/x.mov", revision=1, kept=kept, hash=digest, why="another look")


def test_what_is_written_is_read(tmp_path: Path) -> None:
    assert read_cleared(tmp_path) == []
    add_cleared(tmp_path, line())
    add_cleared(tmp_path, line("revisions/2/a/x.mov"))
    assert read_cleared(tmp_path) == [line(), line("revisions/2/a/x.mov")]
    assert line().sentence == "cleared on 2026-11-28 by rule (keep_revisions = 2)"
    with (tmp_path / CLEARED_LOG).open("ab") as stream:
        stream.write(b'{"schema":"rushl')
    add_cleared(tmp_path, line("revisions/3/a/x.mov"))
    assert [each.path[10] for each in read_cleared(tmp_path)] == ["1", "2", "3"]


def test_only_what_is_gone_under_its_hash_is_cleared(tmp_path: Path) -> None:
    add_cleared(tmp_path, line())
    assert cleared_files(tmp_path, [old()]) == {(old().kept, HASH): line()}
    assert cleared_files(tmp_path, [old(digest="xxh3_128:" + "2" * 32)]) == {}  # another clip's later file
    assert cleared_files(tmp_path, [old(digest="")]) == {
        (old().kept, ""): line()
    }  # an older version's record
    assert cleared_files(tmp_path, [old(kept="")]) == {}
    place = tmp_path / "revisions/1/a/x.mov"
    place.parent.mkdir(parents=True)
    place.write_bytes(b"old")  # killed before it went: it is there
    assert cleared_files(tmp_path, [old()]) == {}


def test_what_went_earlier_is_summed_by_day_and_rule(tmp_path: Path) -> None:
    assert cleared_before(tmp_path) == []
    for number in (1, 2, 2, 3):  # killed after a line, it is written once more
        add_cleared(tmp_path, line(f"revisions/{number}/a/x.mov"))
    add_cleared(tmp_path, line("revisions/4/a/x.mov").model_copy(update={"rule": "keep_revisions = 0"}))
    (tmp_path / "revisions/3/a").mkdir(parents=True)
    (tmp_path / "revisions/3/a/x.mov").write_bytes(b"old")  # it is there
    assert [(e.day, e.rule, e.files, e.bytes) for e in cleared_before(tmp_path)] == [
        ("2026-11-28", "keep_revisions = 0", 1, 3),
        ("2026-11-28", "keep_revisions = 2", 2, 6),
    ]


def test_a_log_behind_a_link_is_neither_read_nor_written(tmp_path: Path) -> None:
    out, other = tmp_path / "out", tmp_path / "other"
    out.mkdir()
    other.mkdir()
    add_cleared(other, line())
    (out / "log").symlink_to(other / "log")
    assert read_cleared(out) == []
    with pytest.raises(OutsideError):
        add_cleared(out, line())


def test_what_two_nights_left_of_a_clip_is_two_things(tmp_path: Path) -> None:
    """And what a third has in hand now hides none; one thing that was written down twice, by a kill in between, is one."""
    left = line(".work/x", "").model_copy(update={"kind": "work"})
    for finished in ("2026-11-01", "2026-11-02", "2026-11-02"):
        add_cleared(tmp_path, left.model_copy(update={"replaced": f"{finished}T04:00:00+00:00"}))
    assert [(each.files, each.bytes) for each in cleared_before(tmp_path)] == [(2, 6)]
    now = tmp_path / ".work" / "x" / "0.mov"
    now.parent.mkdir(parents=True)
    now.write_bytes(b"in hand")
    os.utime(now, (2_000_000_000, 2_000_000_000))
    assert cleared_before(tmp_path)[0].files == 2
    os.utime(now, (1, 1))  # the command was killed before it went
    assert cleared_before(tmp_path)[0].files == 1


def test_a_name_that_another_file_has_since_hides_nothing(tmp_path: Path) -> None:
    add_cleared(tmp_path, line())
    add_cleared(tmp_path, line(digest="xxh3_128:" + "2" * 32))
    (tmp_path / "revisions/1/a").mkdir(parents=True)
    (tmp_path / "revisions/1/a/x.mov").write_bytes(b"the second is there: killed before it went")
    assert [(each.files, each.bytes) for each in cleared_before(tmp_path)] == [(1, 3)]


def test_a_working_folder_that_went_in_two_goes_counts_whole(tmp_path: Path) -> None:
    """Killed in the middle, the command wrote down what was left of it when it was given again."""
    left = line(".work/x", "").model_copy(update={"kind": "work", "files": 5, "bytes": 50})
    add_cleared(tmp_path, left)
    rest = {"files": 2, "bytes": 20, "cleared": "2026-11-29T04:00:00+00:00"}
    add_cleared(tmp_path, left.model_copy(update=rest))
    (found,) = cleared_before(tmp_path)
    assert (found.day, found.files, found.bytes) == ("2026-11-29", 5, 50)
