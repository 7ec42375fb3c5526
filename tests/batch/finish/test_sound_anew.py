"""When a movie's sound alone is made anew (the making itself: tests/nights/test_sound_night.py)."""

from pathlib import Path
from typing import Any

import pytest

from rushlight.batch.records.files import DeliveredMovie, Light
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.run.jobs_to_make import only_sound_changed
from rushlight.pipelines.job.spec import MovieSpec, StillsSpec

MOVIE: dict[str, Any] = {
    "output": "editorial",
    "folder": "editorial",
    "state": "log",
    "width": 64,
    "height": 36,
}


def spec(**more: Any) -> MovieSpec:
    said = {
        "identity": "new",
        "picture_identity": "same",
        "file": "a.mov",
        "codec": "prores-proxy",
        "container": "mov",
    }
    return MovieSpec(**MOVIE, **{**said, **more})


def record(out: Path, status: str = "done", **more: Any) -> JobRecord:
    (out / "editorial").mkdir(exist_ok=True)
    path = out / "editorial" / "a.mov"
    path.write_bytes(b"pictures")
    info = path.stat()
    entry = {
        "output": "editorial", "path": "editorial/a.mov", "identity": "old", "picture_identity": "same", "light": None,
        "bytes": info.st_size, "mtime_ns": info.st_mtime_ns,
    }  # fmt: skip
    return JobRecord.model_construct(
        status=status, outputs=[DeliveredMovie.model_construct(**{**entry, **more})]
    )


def test_other_sound_under_the_same_pictures(tmp_path: Path) -> None:
    assert only_sound_changed(tmp_path, [spec()], record(tmp_path))


@pytest.mark.parametrize(
    "more",
    [
        {"picture_identity": "other"},
        {"picture_identity": ""},
        {"identity": "new"},
        {"path": "editorial/A002/a.mov"},
        {"light": Light(max_cll=1000, max_fall=400)},
        {"bytes": 7},
        {"output": "viewing"},
    ],
)
def test_everything_else_is_rendered(more: dict[str, Any], tmp_path: Path) -> None:
    assert not only_sound_changed(tmp_path, [spec()], record(tmp_path, **more))


def test_a_clip_of_which_something_else_is_missing_is_rendered(tmp_path: Path) -> None:
    stills = StillsSpec(**{**MOVIE, "output": "stills"}, identity="new", stills=())
    found = record(tmp_path)
    assert not only_sound_changed(tmp_path, [spec(), stills], found)
    assert not only_sound_changed(tmp_path, [], found) and not only_sound_changed(tmp_path, [spec()], None)
    assert not only_sound_changed(tmp_path, [spec()], record(tmp_path, "failed"))
