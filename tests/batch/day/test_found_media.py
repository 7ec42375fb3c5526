"""What lies in a day's folder: originals by camera, what does not read, and the sound recordist's folders."""

from __future__ import annotations

from pathlib import Path

import pytest

from pictures import numbered, write_movie
from rushlight.batch.day.found_media import look_into


@pytest.fixture
def cards(tmp_path: Path) -> Path:
    (tmp_path / "cards").mkdir()
    write_movie(tmp_path / "cards/A001C001.mov", [numbered(0), numbered(1)], reel="A001")
    return tmp_path / "cards"


def wav(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"RIFF")  # its name alone is looked at


def test_what_does_not_read_has_its_reason_and_no_camera(cards: Path) -> None:
    (cards / "B001C001.mov").write_bytes(b"junk")
    (cards / "C001C001.r3d").write_bytes(b"raw")
    found = look_into(cards)
    assert [group.name for group in found.cameras] == ["camera A"] and found.rates == {"24": 1}
    assert [path.name for path, why in found.unreadable if why] == ["B001C001.mov", "C001C001.r3d"]


def test_sound_among_the_media_else_beside_them(cards: Path) -> None:
    assert look_into(cards).sound == ()
    wav(cards.parent / "Sound/roll 1/T01.WAV")
    wav(cards.parent / "Sound/roll 2/T02.wav")
    wav(cards.parent / "music/T03.wav")  # no name of a sound folder
    found = look_into(cards)
    assert [p.name for p in found.sound] == ["roll 1", "roll 2"] and found.sound_files == 2
    wav(cards / "S001/T01.wav")
    wav(cards / "S001/more/T02.wav")
    found = look_into(cards)
    assert (found.sound, found.sound_files) == ((cards / "S001",), 2)
