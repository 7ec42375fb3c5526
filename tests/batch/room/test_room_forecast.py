"""The forecast of room: by output, by disk, what stays and what would be cleared."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from room_items import GB, item
from rushlight.batch.room.room_forecast import forecast_room, kept_bytes

MINUTE = 870_000_000  # bytes, about


def test_outputs_are_summed_and_clips_in_hand_count(tmp_path: Path) -> None:
    items = [item(tmp_path, f"A{n}", "editorial", "viewing") for n in range(10)]
    found = forecast_room(items, keep_free=0, free=lambda path: 100 * GB)
    assert [(each.output, each.clips) for each in found.outputs] == [("editorial", 10), ("viewing", 10)]
    (disk,) = found.volumes
    assert disk.make == sum(each.make for each in found.outputs) == pytest.approx(20 * MINUTE, rel=0.02)
    assert disk.work == pytest.approx(6 * MINUTE, rel=0.02) and not disk.missing and not found.warnings


def test_a_disk_that_is_too_small_is_said_with_numbers(tmp_path: Path) -> None:
    items = [item(tmp_path, f"A{n}", "editorial") for n in range(10)]
    found = forecast_room(items, keep_free=GB, free=lambda path: 5 * GB)
    (disk,) = found.volumes
    assert disk.missing == disk.make + disk.work + GB - 5 * GB
    (text,) = found.warnings
    assert "5.0 GB free" in text and "8.7 GB are to be made" in text and "will pause there" in text
    assert text.endswith(
        "until there is room. `rushlight space` says what the output folders there hold, and which old revisions may go"
    )


def test_disks_count_for_themselves(tmp_path: Path) -> None:
    """Two folders on one disk share it; a third has its own."""
    items = [item(tmp_path / name, "A", "editorial", minutes=5) for name in ("a", "b", "c")]
    volumes = {"a": "/one", "b": "/one", "c": "/two"}

    def volume_of(path: Path) -> str:
        return volumes[path.relative_to(tmp_path).parts[0]]

    found = forecast_room(items, keep_free=0, free=lambda path: 14 * GB, volume_of=volume_of)
    assert [(v.volume, v.make // GB, bool(v.missing)) for v in found.volumes] == [
        ("/one", 8, True),
        ("/two", 4, False),
    ]


def test_nothing_to_make_warns_of_nothing(tmp_path: Path) -> None:
    assert forecast_room([], keep_free=GB, free=lambda path: 0).warnings == []


def test_what_is_older_stays_and_is_said_by_output(tmp_path: Path) -> None:
    for name, size in (
        ("1/editorial/A.mov", 1000),
        ("2/editorial/A.mov", 500),
        ("1/stills/a/A.png", 70),
        ("1/odd", 9),
    ):
        path = tmp_path / "revisions" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x" * size)
    assert kept_bytes(tmp_path) == {"editorial": 1500, "stills": 70}
    found = forecast_room([item(tmp_path, "A", "editorial")], keep_free=0, kept=kept_bytes)
    assert [(each.output, each.older) for each in found.outputs] == [("editorial", 1500), ("stills", 70)]
    assert kept_bytes(tmp_path / "nothing") == {}


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of memory, where that can be had."""
    disk = tmp_path / "out" / "disk"
    disk.mkdir(parents=True)
    mount = ["mount", "-t", "tmpfs", "-o", "size=20m", "tmpfs", str(disk)]
    if os.geteuid() or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("no disk can be mounted here")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_another_disk_below_a_link_is_found(tmp_path: Path, small_disk: Path) -> None:
    (tmp_path / "link").symlink_to(small_disk)
    items = [
        item(tmp_path / "link" / "day", "A", "editorial"),
        item(tmp_path, "A", "editorial", minutes=0.001),
    ]
    found = forecast_room(items, keep_free=0)
    there = {volume.volume: volume for volume in found.volumes}
    assert there[str(small_disk)].free <= 20 * 1024 * 1024 and there[str(small_disk)].missing
    assert len(there) == 2 and not found.apart


def test_an_output_on_a_disk_of_its_own_is_said_to_fail(tmp_path: Path, small_disk: Path) -> None:
    """As it does, at the end of each clip: a file takes its name by renaming."""
    found = forecast_room([item(tmp_path / "out", "A", "disk", "editorial", minutes=0.001)], keep_free=0)
    (text,) = found.apart
    assert text in found.warnings and f"{small_disk} lies on another disk" in text and "would fail" in text
    with pytest.raises(OSError, match="cross-device"):
        (tmp_path / "out" / "file").touch()
        (tmp_path / "out" / "file").replace(small_disk / "file")
