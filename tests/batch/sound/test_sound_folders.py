"""Sound files under folders: found = files of takes + copies + not readable."""

import os
import shutil
from pathlib import Path

import pytest

from recordings import bext, chunk, ixml, write_wav
from rushlight.batch.sound.sound_folders import SoundFolders, find_sound


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    card = tmp_path / "SR01" / "day"
    card.mkdir(parents=True)
    for number in (1, 2):
        for channel in (1, 2):
            before = [
                chunk(b"bext", bext(number * 10**6)),
                chunk(
                    b"iXML",
                    ixml(take=str(number), family=f"F{number}", channels=[channel], names=[f"N{channel}"]),
                ),
            ]
            write_wav(card / f"T{number}_{channel}.wav", 100, before=before)
    (card / "broken.wav").write_bytes(b"RIFF")
    (card / "._T1_1.wav").write_bytes(b"RIFF")
    (card / "notes.pdf").write_bytes(b"no sound")
    return tmp_path


def total(found: SoundFolders) -> bool:
    return found.found == sum(len(t.files) for t in found.takes) + len(found.copies) + len(found.unreadable)


def test_every_sound_file_is_accounted_for(folder: Path) -> None:
    found = find_sound([folder])
    assert [len(t.files) for t in found.takes] == [2, 2] and found.found == 5 and total(found)
    (broken,) = found.unreadable
    assert broken[0].name == "broken.wav" and "no WAV file" in broken[1]


def test_a_copy_of_a_card_is_not_a_second_take(folder: Path) -> None:
    shutil.copytree(folder / "SR01", folder / "backup")
    found = find_sound([folder])
    assert len(found.takes) == 2 and len(found.copies) == 4 and found.found == 10 and total(found)


def test_a_folder_given_twice_counts_once_and_what_we_wrote_is_passed_over(folder: Path) -> None:
    (folder / "out" / "log").mkdir(parents=True)
    (folder / "out" / "log" / "jobs.jsonl").write_text("")
    write_wav(folder / "out" / "x.wav", 10)
    os.symlink(folder, folder / "SR01" / "loop")
    assert find_sound([folder, folder / "SR01"]).found == 5


@pytest.mark.parametrize("name", ["T1_2.wav", "t1_2", "day/T1_2.WAV", "SR01\\day\\T1_2.wav"])
def test_files_are_found_by_name(name: str, folder: Path) -> None:
    found = find_sound([folder])
    (file,) = found.named(name)
    assert file.path.name == "T1_2.wav" and len(found.take_with(file).files) == 2


@pytest.mark.parametrize("name", ["T9.wav", "other/T1_2.wav", "", ".."])
def test_other_names_are_nothing(name: str, folder: Path) -> None:
    assert find_sound([folder]).named(name) == ()


def test_a_whole_path_is_found_under_a_folder_given_from_here(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As `plan --write` writes it down."""
    monkeypatch.chdir(folder)
    found = find_sound([Path("SR01")])
    (path,) = folder.rglob("T1_2.wav")
    (file,) = found.named(str(path.absolute()))
    assert file.path.absolute() == path.absolute()
    assert found.named(str(folder.parent / "other" / path.relative_to(folder))) == ()
