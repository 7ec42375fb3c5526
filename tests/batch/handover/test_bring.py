"""A file comes whole, with its time, or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import xxhash

from rushlight.batch.handover import bring as module
from rushlight.batch.handover.bring import Damaged, bring, hash_of

DATA = bytes(range(256)) * 50
DIGEST = f"xxh3_128:{xxhash.xxh3_128_hexdigest(DATA)}"


@pytest.fixture
def source(tmp_path: Path) -> Path:
    folder = tmp_path / "out" / "editorial" / "A001"
    folder.mkdir(parents=True)
    (folder / "a.mov").write_bytes(DATA)
    os.utime(folder / "a.mov", ns=(1_700_000_000_123_456_789,) * 2)
    (tmp_path / "to").mkdir()
    return tmp_path / "out"


@pytest.mark.parametrize("link", [True, False])
def test_whole(source: Path, link: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "BLOCK", 1000)
    to, told = source.parent / "to", list[int]()
    how = bring(source, "editorial/A001/a.mov", to, digest=DIGEST, link=link, on_bytes=told.append)
    one, two = to / "editorial/A001/a.mov", source / "editorial/A001/a.mov"
    assert how == ("linked" if link else "copied") and os.path.samefile(one, two) is link
    assert one.read_bytes() == DATA and one.stat().st_mtime_ns == two.stat().st_mtime_ns
    assert sum(told) == len(DATA) and len(told) == 13
    assert hash_of(to, "editorial/A001/a.mov") == DIGEST


@pytest.mark.parametrize("link", [True, False])
def test_another_hash(source: Path, link: bool) -> None:
    with pytest.raises(Damaged, match="is not as it was made"):
        bring(source, "editorial/A001/a.mov", source.parent / "to", digest="xxh3_128:0", link=link)
    assert not (source.parent / "to/editorial/A001/a.mov").exists()
    assert (source / "editorial/A001/a.mov").read_bytes() == DATA


@pytest.mark.parametrize("link", [True, False])
@pytest.mark.parametrize("kind", ["folder", "pipe", "none", "link"])
def test_what_is_no_file(source: Path, kind: str, link: bool) -> None:
    place = source / "editorial" / "x"
    match kind:
        case "folder":
            place.mkdir()
        case "pipe":
            os.mkfifo(place)
        case "link":
            place.symlink_to(source / "editorial/A001/a.mov")
    with pytest.raises(Damaged):
        bring(source, "editorial/x", source.parent / "to", digest=DIGEST, link=link)
    assert not os.path.lexists(source.parent / "to" / "editorial" / "x")


def test_a_file_that_cannot_be_read_to_its_end(source: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(stream: object) -> bytes:
        raise Damaged("cannot be read: Input/output error")

    monkeypatch.setattr(module, "_block", broken)
    with pytest.raises(Damaged, match="Input/output error"):
        bring(source, "editorial/A001/a.mov", source.parent / "to", digest=DIGEST, link=False)
    assert not (source.parent / "to/editorial/A001/a.mov").exists()


def test_a_disk_that_keeps_no_times_takes_the_file(source: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError("not permitted")

    monkeypatch.setattr(module.os, "utime", refuse)
    to = source.parent / "to"
    assert bring(source, "editorial/A001/a.mov", to, digest=DIGEST, link=False) == "copied"
    assert (to / "editorial/A001/a.mov").read_bytes() == DATA


@pytest.mark.parametrize("left", ["whole", "cut", "other bytes", "linked", "a link"])
def test_what_a_killed_copy_left(source: Path, left: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only a whole copy is taken for one."""
    place, file = source.parent / "to" / "editorial/A001/a.mov", source / "editorial/A001/a.mov"
    place.parent.mkdir(parents=True)
    match left:
        case "whole":
            place.write_bytes(DATA)
        case "cut":
            place.write_bytes(DATA[:-1])
        case "other bytes":
            place.write_bytes(bytes(len(DATA)))
        case "linked":
            place.hardlink_to(file)
        case "a link":
            place.symlink_to(file)
    copied = []
    real = module._copied
    monkeypatch.setattr(module, "_copied", lambda *given: (copied.append(1), real(*given))[1])
    assert bring(source, "editorial/A001/a.mov", source.parent / "to", digest=DIGEST, link=False) == "copied"
    assert copied == ([] if left == "whole" else [1])
    assert place.read_bytes() == DATA == file.read_bytes() and not place.is_symlink()
    assert not os.path.samefile(place, file) and place.stat().st_mtime_ns == file.stat().st_mtime_ns


@pytest.mark.parametrize("gone", [True, False])
def test_nothing_stays_that_a_killed_copy_left_of_a_file_that_is_damaged_now(
    source: Path, gone: bool
) -> None:
    place, file = source.parent / "to" / "editorial/A001/a.mov", source / "editorial/A001/a.mov"
    place.parent.mkdir(parents=True)
    place.write_bytes(DATA[:-1])
    file.unlink() if gone else file.write_bytes(b"x")
    with pytest.raises(Damaged):
        bring(source, "editorial/A001/a.mov", source.parent / "to", digest=DIGEST, link=False)
    assert not place.exists()
