"""Originals that are not written to their end, whatever their size and time say."""

from __future__ import annotations

import os
import struct
from pathlib import Path

import pytest

from pictures import numbered, write_movie
from rushlight.pipelines.originals.unfinished import is_passing_name, unfinished


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("whole") / "a.mov"
    write_movie(path, [numbered(n) for n in range(6)], timecode="01:00:00:00")
    return path.read_bytes()


def put(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def test_a_whole_movie_is_finished(tmp_path: Path, whole: bytes) -> None:
    assert unfinished(put(tmp_path / "a.mov", whole)) == ""


@pytest.mark.parametrize("share", [0.1, 0.5, 0.97])
def test_one_that_is_still_growing_is_not(tmp_path: Path, whole: bytes, share: float) -> None:
    path = put(tmp_path / "a.mov", whole[: int(len(whole) * share)])
    assert unfinished(path) in (
        "has no index yet (moov)",
        "ends in the middle of a box",
        "is not filled to its end yet",
    )


def test_one_of_full_size_with_nothing_at_its_end_is_not(tmp_path: Path, whole: bytes) -> None:
    """Some copies claim the whole size first, and set the time back at the end: size and time stand still from the start."""
    half = whole[: len(whole) // 2]
    path = put(tmp_path / "a.mov", half + bytes(len(whole) - len(half)))
    os.utime(path, ns=(0, 0))
    assert unfinished(path) == "is not filled to its end yet"


def test_an_index_at_the_beginning_does_not_hide_an_empty_end(tmp_path: Path) -> None:
    moov = struct.pack(">I4s", 16, b"moov") + b"\1" * 8
    data = moov + struct.pack(">I4s", 5008, b"mdat") + b"\1" * 1000 + bytes(4000)
    assert unfinished(put(tmp_path / "a.mp4", data)) == "is not filled to its end yet"
    assert unfinished(put(tmp_path / "b.mp4", moov + struct.pack(">I4s", 5008, b"mdat") + b"\1" * 5000)) == ""
    assert unfinished(put(tmp_path / "c.mp4", moov + struct.pack(">I4s", 9008, b"mdat") + b"\1" * 5000)) == (
        "ends in the middle of a box"
    )


def test_an_empty_file_is_not(tmp_path: Path) -> None:
    assert unfinished(put(tmp_path / "a.dpx", b"")) == "is empty"


def test_a_black_still_is_finished(tmp_path: Path) -> None:
    assert unfinished(put(tmp_path / "a.dpx", b"SDPX" + bytes(5000))) == ""


def mxf(footer_at: int, *, tail: bytes) -> bytes:
    key = bytes.fromhex("060e2b34020501010d01020101020400")
    pack = struct.pack(">HHIQQQ", 1, 3, 1, 0, 0, footer_at) + b"\1" * 60
    return key + b"\x83" + len(pack).to_bytes(3, "big") + pack + b"\1" * 3000 + tail


def test_mxf_needs_its_footer(tmp_path: Path) -> None:
    footer = bytes.fromhex("060e2b34020501010d01020101040400") + b"\1" * 60
    length = len(mxf(0, tail=b""))
    assert unfinished(put(tmp_path / "a.mxf", mxf(0, tail=b""))) == "has no footer yet"
    assert unfinished(put(tmp_path / "b.mxf", mxf(length, tail=footer))) == ""
    assert unfinished(put(tmp_path / "c.mxf", mxf(length, tail=b"\1" * 60))) == "has no footer yet"
    assert (
        unfinished(put(tmp_path / "d.mxf", mxf(0, tail=footer))) == ""
    )  # a header that was never gone back to


@pytest.mark.parametrize("name", ["A.mov.part", "a.TMP", ".A001C001.mov.x7Qk2b", "b.partial"])
def test_names_that_copies_use(tmp_path: Path, name: str, whole: bytes) -> None:
    assert is_passing_name(name)
    assert unfinished(put(tmp_path / name, whole)) == "has the name of a copy that is not finished"


@pytest.mark.parametrize("name", ["A001C001.mov", ".DS_Store", ".hidden.mov", "party.mov", "A001.partly"])
def test_names_that_they_do_not(name: str) -> None:
    assert not is_passing_name(name)


def test_one_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(OSError):
        unfinished(tmp_path / "gone.mov")
