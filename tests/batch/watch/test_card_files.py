"""Cards and their files as one look finds them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from rushlight.batch.watch.card_files import CardFile, CardPlace, card_places, clips_among, files_of_card


def put(path: Path, data: bytes = b"x") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def names(folder: Path, *, alone: bool = False) -> list[str]:
    return [file.name for file in files_of_card(CardPlace(folder=folder, alone=alone))]


def test_a_card_is_a_folder_in_the_media_folder(tmp_path: Path) -> None:
    put(tmp_path / "A001" / "Clip" / "A001C001.mov")
    put(tmp_path / "B001" / "B001C001.mxf")
    put(tmp_path / ".Trashes" / "x.mov")
    put(tmp_path / "notes.txt")
    assert card_places(tmp_path) == [CardPlace(folder=tmp_path / "A001"), CardPlace(folder=tmp_path / "B001")]
    assert names(tmp_path / "A001") == ["Clip/A001C001.mov"]


def test_the_media_folder_itself_is_one_where_it_holds_originals(tmp_path: Path) -> None:
    put(tmp_path / "A001C001.mov")
    put(tmp_path / "B001" / "B001C001.mov")
    assert card_places(tmp_path) == [
        CardPlace(folder=tmp_path, alone=True),
        CardPlace(folder=tmp_path / "B001"),
    ]
    assert names(tmp_path, alone=True) == ["A001C001.mov"]


def test_what_is_made_and_what_was_made_is_no_card(tmp_path: Path) -> None:
    put(tmp_path / "dailies" / "log" / "jobs.jsonl")
    put(tmp_path / "out" / "editorial" / "A001C001.mov")
    assert card_places(tmp_path, [tmp_path / "out"]) == []


def test_links_are_not_followed(tmp_path: Path) -> None:
    put(tmp_path / "elsewhere" / "secret.mov")
    card = put(tmp_path / "media" / "A001" / "A001C001.mov").parent
    (card / "out").symlink_to(tmp_path / "elsewhere")
    (card / "A001C002.mov").symlink_to(tmp_path / "elsewhere" / "secret.mov")
    (tmp_path / "media" / "A002").symlink_to(tmp_path / "elsewhere")
    assert names(card) == ["A001C001.mov"]
    assert card_places(tmp_path / "media") == [CardPlace(folder=card)]


def test_what_a_copy_hides_counts_and_what_a_system_leaves_does_not(tmp_path: Path) -> None:
    for name in (".A001C002.mov.x7Qk2b", "A001C003.mov.part", ".DS_Store", "Thumbs.db", "A001C001.mov"):
        put(tmp_path / name)
    put(tmp_path / ".fseventsd" / "log.mov")
    assert names(tmp_path) == [".A001C002.mov.x7Qk2b", "A001C001.mov", "A001C003.mov.part"]


def test_what_macos_keeps_beside_a_file_counts_only_while_that_is_not_there(tmp_path: Path) -> None:
    put(tmp_path / "._A001C001.mov")
    put(tmp_path / "._notes.txt")
    assert names(tmp_path) == ["._A001C001.mov"]
    put(tmp_path / "A001C001.mov")
    assert names(tmp_path) == ["A001C001.mov"]


def test_a_card_that_cannot_be_read_is_no_empty_card(tmp_path: Path) -> None:
    with pytest.raises(OSError):
        files_of_card(CardPlace(folder=tmp_path / "A001"))
    with pytest.raises(OSError):
        card_places(tmp_path / "media")


def test_sizes_and_times_stand_as_the_disk_has_them(tmp_path: Path) -> None:
    os.utime(put(tmp_path / "a.mov", b"abc"), ns=(1, 4_000_000_000_123))
    (found,) = files_of_card(CardPlace(folder=tmp_path))
    assert (found.size, found.mtime_ns) == (3, (tmp_path / "a.mov").stat().st_mtime_ns)


def test_clips_are_counted_by_name() -> None:
    names = [
        "A/a.mov",
        "A/b.mxf",
        "A/a.xml",
        *(f"S/s.{n:04}.dpx" for n in range(5)),
        "S/still.0001.png",
        "._c.mov",
    ]
    assert clips_among([CardFile(name=name, size=1, mtime_ns=0) for name in names]) == 3


def test_five_thousand_files_are_looked_at_without_opening_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(300):
        put(tmp_path / f"r{number % 5}" / f"s.{number:05}.dpx")
    opened: list[object] = []
    monkeypatch.setattr("builtins.open", lambda *a, **k: opened.append(a))
    monkeypatch.setattr(os, "open", lambda *a, **k: opened.append(a))
    looked: list[str] = []
    scandir = os.scandir
    monkeypatch.setattr(os, "scandir", lambda path: looked.append(str(path)) or scandir(path))
    assert len(files_of_card(CardPlace(folder=tmp_path))) == 300
    assert opened == [] and len(looked) == 6  # a folder each, and nothing else
