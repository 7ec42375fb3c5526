"""Twins that are one original twice say so, and as much as was compared."""

from pathlib import Path

import pytest

from pictures import numbered, write_movie
from rushlight.batch.lists import equal_copies
from rushlight.batch.lists.equal_copies import ENDS, EQUAL, alike, twin_notes
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request


def files(folder: Path, **contents: bytes) -> list[list[Path]]:
    made = []
    for name, data in contents.items():
        (folder / name).mkdir()
        (folder / name / "A001C001.mov").write_bytes(data)
        made.append([folder / name / "A001C001.mov"])
    return made


def test_equal_is_said_of_equal_files_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    data = bytes(range(256)) * 20_000
    middle = data[:2_600_000] + b"x" + data[2_600_001:]
    first, same, odd, short = files(tmp_path, a=data, b=data, c=middle, d=data[:-1])
    assert alike([first, same]) == EQUAL
    assert alike([first, odd]) == alike([first, short]) == alike([first, same, odd]) == ""
    monkeypatch.setattr(equal_copies, "WHOLE", 1000)  # larger ones are compared at their ends, and it is said
    assert alike([first, same]) == alike([first, odd]) == ENDS
    odd[0].write_bytes(data[:-1] + b"x")
    assert alike([first, odd]) == ""
    assert alike([first, [tmp_path / "none"]]) == alike([first]) == ""


def test_one_sentence_for_a_card_and_its_copy(tmp_path: Path) -> None:
    first, same, odd = files(tmp_path, a=b"1", b=b"1", c=b"2")
    (note,) = twin_notes([[first, odd, same], [first, same], [first, odd]])
    assert note.startswith(f"A001C001.mov and 1 more in {tmp_path / 'a'} and {tmp_path / 'b'}: {EQUAL}")


@pytest.fixture
def cards(tmp_path: Path) -> Path:
    """Two cards with a clip of one name, and a copy of the first."""
    for number, card in enumerate(("A001", "A001 copy", "A002")):
        (tmp_path / card).mkdir()
        write_movie(tmp_path / card / "A001C001.mov", [numbered(number // 2)])
        write_movie(tmp_path / card / "A001C002.mov", [numbered(number // 2)])
    return tmp_path


def test_a_folder_with_a_card_and_its_copy(cards: Path) -> None:
    plan = prepare(Request(clip_list=cards, encoding="LogC3")).plan
    assert len(plan.clips) == 6
    (note,) = [text for text in plan.warnings if EQUAL in text]
    assert f"A001C001.mov and 1 more in {cards / 'A001'} and {cards / 'A001 copy'}" in note


def test_a_row_that_fits_a_clip_and_its_copy(cards: Path, tmp_path: Path) -> None:
    (tmp_path / "day.csv").write_text("clip,encoding\nA001C001,LogC3\n")
    media = (cards / "A001", cards / "A001 copy")
    ((_, error),) = prepare(Request(clip_list=tmp_path / "day.csv", media=media)).plan.wrong
    assert "is the name of 2 originals" in error.text and f"{EQUAL}: copies" in error.text
    ((_, error),) = prepare(
        Request(clip_list=tmp_path / "day.csv", media=(cards / "A001", cards / "A002"))
    ).plan.wrong
    assert "is the name of 2 originals" in error.text and "copies" not in error.text
