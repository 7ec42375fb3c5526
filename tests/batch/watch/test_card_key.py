"""Which card it is, wherever it lies and whatever its folder is called."""

from __future__ import annotations

from pathlib import Path

import pytest

from rushlight.batch.watch.card_files import CardPlace, files_of_card
from rushlight.batch.watch.card_key import CardKey, key_of_card


def card(folder: Path, **clips: bytes) -> Path:
    folder.mkdir()
    for name, data in clips.items():
        (folder / f"{name}.mov").write_bytes(data)
    return folder


def key(folder: Path, first: str = "") -> CardKey:
    return key_of_card(folder, files_of_card(CardPlace(folder=folder)), first)


def test_a_renamed_folder_is_the_same_card(tmp_path: Path) -> None:
    before = key(card(tmp_path / "A001", a=b"one", b=b"two"))
    (tmp_path / "A001").rename(tmp_path / "A001 day 12")
    assert key(tmp_path / "A001 day 12") == before
    (tmp_path / "A001 day 12" / "report.txt").write_text("a copy's own report")
    assert key(tmp_path / "A001 day 12") == before


def test_names_and_sizes_that_come_again_are_another_card(tmp_path: Path) -> None:
    """Formatted and used again: the same names, and by chance the same sizes."""
    first, second = key(card(tmp_path / "1", C0001=b"one")), key(card(tmp_path / "2", C0001=b"two"))
    assert first.whole != second.whole and first.head != second.head


def test_one_more_original_is_the_same_card_changed(tmp_path: Path) -> None:
    before = key(card(tmp_path / "A001", b=b"one"))
    (tmp_path / "A001" / "a.mov").write_bytes(b"earlier by name")
    now = key(tmp_path / "A001", before.first)
    assert now.whole != before.whole and (now.first, now.head) == (before.first, before.head)


def test_a_byte_near_the_end_tells_two_cards_apart(tmp_path: Path) -> None:
    one, two = b"x" * 200_000, b"x" * 199_999 + b"y"
    assert key(card(tmp_path / "1", a=one)).whole != key(card(tmp_path / "2", a=two)).whole


def test_an_original_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    files = files_of_card(CardPlace(folder=card(tmp_path / "A001", a=b"one")))
    (tmp_path / "A001" / "a.mov").unlink()
    with pytest.raises(OSError):
        key_of_card(tmp_path / "A001", files)


def test_a_first_original_that_was_written_on_is_the_same_card(tmp_path: Path) -> None:
    before = key(card(tmp_path / "A001", a=b"x" * 5000))
    (tmp_path / "A001" / "a.mov").write_bytes(b"x" * 5000 + b"more")
    now = key(tmp_path / "A001", before.first)
    assert now.whole != before.whole and now.head == before.head
