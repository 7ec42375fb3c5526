"""Clip tables in an output folder: written when something is new, by one rename, and listed in the manifest."""

import csv
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from logged import append_record
from recorded import movie, recorded, still
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.report.clip_tables import TABLES, write_clip_tables
from rushlight.batch.report.mhl_manifest import ManifestFile, delivered_files, write_manifest
from rushlight.pipelines.errors import OutsideError
from rushlight.pipelines.measure.checksum import file_hash


def delivered(out: Path, name: str, **more: Any) -> None:
    outputs = [
        movie(path=f"editorial/{name}.mov"),
        movie(path=f"viewing/{name}.mp4", output="viewing"),
        still(),
    ]
    append_record(out, recorded(name, *outputs, **more))


def written(out: Path) -> list[ManifestFile]:
    return write_clip_tables(out, read_log(out))


def names(out: Path, folder: str) -> list[str]:
    with (out / folder / "clips.csv").open(newline="") as stream:
        return [row["file"] for row in csv.DictReader(stream)]


def test_each_folder_of_movies_has_both_and_stills_none(tmp_path: Path) -> None:
    delivered(tmp_path, "a")
    files = written(tmp_path)
    assert [f.path for f in files] == [
        f"{folder}/{name}" for folder in ("editorial", "viewing") for name in TABLES
    ]
    for file in files:
        path = tmp_path / file.path
        assert (path.stat().st_size, path.stat().st_mtime_ns) == (file.size, file.mtime_ns)
        assert file_hash(path) == f"xxh3_128:{file.xxh128}"
    assert not (tmp_path / "stills").exists() and not list(tmp_path.rglob("*.part"))


def test_a_second_time_changes_nothing(tmp_path: Path) -> None:
    delivered(tmp_path, "a")
    before = [(f, (tmp_path / f.path).stat().st_ino) for f in written(tmp_path)]
    assert [(f, (tmp_path / f.path).stat().st_ino) for f in written(tmp_path)] == before
    delivered(
        tmp_path, "a", row={"note": "best"}
    )  # what the list says anew is in the tables, whatever was rendered
    now = written(tmp_path)
    assert all(new != old for new, (old, _) in zip(now, before, strict=True))
    delivered(tmp_path, "b")
    written(tmp_path)
    assert names(tmp_path, "editorial") == ["a.mov", "b.mov"] and names(tmp_path, "viewing") == [
        "a.mp4",
        "b.mp4",
    ]


def test_what_an_earlier_night_delivered_of_a_failed_clip_stays_in(tmp_path: Path) -> None:
    delivered(tmp_path, "a")
    record = {**recorded("a", movie(path="editorial/a.mov")), "status": "failed", "error": "its card is gone"}
    append_record(tmp_path, record)
    written(tmp_path)
    assert names(tmp_path, "editorial") == ["a.mov"]


def test_a_damaged_record_costs_its_own_line(tmp_path: Path) -> None:
    """The timecodes of a record that was not delivered are not looked at where the log is read."""
    delivered(tmp_path, "a")
    record = {**recorded("b", movie(path="editorial/b.mov", first_timecode="25:00")), "status": "failed"}
    append_record(tmp_path, record)
    written(tmp_path)
    assert names(tmp_path, "editorial") == ["a.mov"]


def test_nothing_is_written_through_a_link(tmp_path: Path) -> None:
    delivered(tmp_path, "a")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "editorial").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutsideError, match="symbolic link"):
        written(tmp_path)
    assert not list((tmp_path / "elsewhere").iterdir())


def test_the_manifest_lists_them_and_begins_anew_with_another_table(tmp_path: Path) -> None:
    def manifest(minute: int) -> str:
        files = [*delivered_files(latest(read_log(tmp_path).records).values()), *written(tmp_path)]
        when = datetime(2026, 11, 25, 1, minute, tzinfo=UTC)
        path = write_manifest(tmp_path, files, when=when, host="cart", version="1", retired="log/manifests")
        return path.name[:4] if path else ""

    delivered(tmp_path, "a")
    assert manifest(0) == "0001" and manifest(1) == ""
    text = next((tmp_path / "ascmhl").glob("0001*.mhl")).read_text()
    assert all(f">{folder}/{name}<" in text for folder in ("editorial", "viewing") for name in TABLES)
    delivered(tmp_path, "b")
    assert manifest(2) == "0001" and len(list((tmp_path / "log" / "manifests").iterdir())) == 1
