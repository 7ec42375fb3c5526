"""What stood at a new file's name is recorded, with how it came there, once, and under a lower revision than the new file's."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from recorded import movie, recorded
from rushlight.batch.finish.stood_there import CHANGED, Told, stood_there, with_stood
from rushlight.batch.records.job_record import DeliveredRecord, read_record
from rushlight.pipelines.measure.checksum import file_hash

NAME = "editorial/a.mov"


def record(**told: Any) -> DeliveredRecord:
    made = read_record(recorded(**told))
    assert isinstance(made, DeliveredRecord)
    return made


def entry(path: Path | None = None, **told: Any) -> dict[str, Any]:
    """A delivered file's entry; of a file that is there, as it is."""
    if path:
        info = path.stat()
        told |= {"bytes": info.st_size, "mtime_ns": info.st_mtime_ns, "hash": file_hash(path)}
    return movie(path=NAME) | told


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    path = tmp_path / "revisions/2" / NAME
    path.parent.mkdir(parents=True)
    path.write_bytes(b"old")
    return path


@pytest.mark.parametrize(
    ("job", "before", "why"),
    [
        ("", False, "no record tells of it"),
        ("", True, CHANGED),
        ("ours", False, "its clip's record counted it no longer"),
        ("ours", True, "made again, it came out with other bytes"),
        ("theirs", False, "it was made of b.mov, by another job"),
    ],
)
def test_it_is_told_once_with_how_it_came_there(
    tmp_path: Path, kept: Path, job: str, before: bool, why: str
) -> None:
    new = record(job="ours", outputs=[entry()])
    ever = [record(job=job, clip="b.mov", outputs=[entry(kept)])] if job else []
    counted = record(job="ours", outputs=[entry(kept if job else None)]) if before else None
    told = Told(ever)
    stood = stood_there(tmp_path, new, new, told)
    done = with_stood(tmp_path, new, counted, stood, told, keep=True)
    [old] = done.replaced
    assert (old.path, old.kept, old.why) == (NAME, f"revisions/2/{NAME}", why)
    assert old.hash == file_hash(kept) and done.revision == done.outputs[0].revision == 3
    assert stood_there(tmp_path, new, done, told) == []  # by the record itself
    told.add(done)
    assert stood_there(tmp_path, new, new, told) == []  # and by the log
    kept.write_bytes(b"another, put there since")
    assert len(stood_there(tmp_path, new, new, told)) == 1


def test_it_is_removed_where_that_is_asked_and_said(tmp_path: Path, kept: Path) -> None:
    new, told = record(job="ours", outputs=[entry()]), Told()
    stood = stood_there(tmp_path, new, new, told)
    done = with_stood(tmp_path, new, None, stood, told, keep=False)
    assert [each.kept for each in done.replaced] == [""] and not (tmp_path / "revisions").exists()
    assert with_stood(tmp_path, new, None, [], told, keep=False) is new
