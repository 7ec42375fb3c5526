"""Every byte of every file is counted, once a name; on the disk once a file."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from rushlight.batch.space import survey as surveying
from rushlight.batch.space.survey import disk_bytes, freed_bytes, survey


def by_hand(folder: Path) -> int:
    """The sizes of all files, as another way of walking finds them."""
    return sum(
        os.lstat(os.path.join(place, name)).st_size
        for place, _, names in os.walk(os.fsencode(folder))
        for name in names
        if not os.path.islink(os.path.join(place, name))
    )


@pytest.fixture
def odd(tmp_path: Path) -> Path:
    """A folder of odd files."""
    out = tmp_path / "out"
    (out / "a" / "b" / "empty").mkdir(parents=True)
    (out / "a" / "one.mov").write_bytes(b"x" * 1000)
    os.link(out / "a" / "one.mov", out / "a" / "b" / "second name.mov")
    with (out / "sparse.mov").open("wb") as stream:
        stream.truncate(5_000_000_000)
    (out / "nothing").write_bytes(b"")
    for name in (b"\xff\xfe raw.mov", "Ünïcode ́.mov".encode(), b"back\\slash", b"new\nline"):
        with open(os.path.join(os.fsencode(out), name), "wb") as raw:
            raw.write(b"0123456789")
    os.mkdir(os.path.join(os.fsencode(out), b"folder \xff"))
    with open(os.path.join(os.fsencode(out), b"folder \xff", b"in it"), "wb") as raw:
        raw.write(b"seven b")
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "big").write_bytes(b"x" * 9000)
    (out / "link to a folder").symlink_to(tmp_path / "outside")
    (out / "link to a file").symlink_to(tmp_path / "outside" / "big")
    (out / "link to itself").symlink_to(out)
    (out / "dead").symlink_to("nowhere")
    os.mkfifo(out / "pipe")
    return out


def test_odd_files_add_up_to_the_byte(odd: Path) -> None:
    found = survey(odd)
    assert found.bytes == by_hand(odd) == 5_000_002_047
    assert len(found.files) == 9 and found.links == 5
    assert not found.unread and not found.apart
    assert [file.name for file in found.files] == sorted(file.name for file in found.files)
    assert survey(odd / "link to itself").bytes == found.bytes  # the user may give a link


def test_on_the_disk_a_file_counts_once_and_holes_do_not(odd: Path) -> None:
    files = survey(odd).files
    blocks = {os.lstat(odd / f.name).st_ino: os.lstat(odd / f.name).st_blocks * 512 for f in files}
    counted: set[tuple[int, int]] = set()
    assert disk_bytes(files, counted) == sum(blocks.values()) < 1_000_000
    assert disk_bytes(files, counted) == 0


def test_what_has_a_name_elsewhere_frees_nothing(odd: Path) -> None:
    names = {file.name: file for file in survey(odd).files}
    one, two = names["a/one.mov"], names["a/b/second name.mov"]
    assert freed_bytes([one]) == 0 and freed_bytes([one, two]) == one.disk > 0
    assert freed_bytes([names["nothing"]]) == names["nothing"].disk


def test_a_folder_that_cannot_be_read_is_said(odd: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scan = os.scandir

    def refusing(path: Path) -> object:
        if Path(path).name == "b":
            raise PermissionError(13, "Permission denied", str(path))
        return scan(path)

    monkeypatch.setattr(surveying.os, "scandir", refusing)
    found = survey(odd)
    assert found.unread == (f"{odd / 'a' / 'b'} cannot be read (Permission denied): not counted",)
    assert found.bytes == 5_000_001_047


def test_another_disk_that_is_mounted_in_it_is_left_out_and_said(
    odd: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.stat

    def moved(path: Path, **given: object) -> os.stat_result:
        info = real(path, **given)  # type: ignore[arg-type]
        fields = list(info)
        fields[2] = info.st_dev + 1
        return os.stat_result(fields)

    monkeypatch.setattr(surveying.os, "stat", moved)
    found = survey(odd)
    assert {f"{odd / 'a'} is another disk: not counted"} < set(found.apart)
    assert not any("/" in file.name for file in found.files)


def test_what_goes_meanwhile_is_no_error(odd: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scan = os.scandir

    def gone(path: Path) -> object:
        if Path(path).name == "a":
            raise FileNotFoundError(2, "No such file or directory", str(path))
        return scan(path)

    monkeypatch.setattr(surveying.os, "scandir", gone)
    assert survey(odd).bytes == 5_000_000_047 and not survey(odd).unread
