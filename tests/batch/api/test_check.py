"""`rushlight.check`: a value a caller can trust."""

from pathlib import Path

import pytest

import rushlight
from manifests import card, sealed


def test_the_result_and_its_document(tmp_path: Path) -> None:
    root = card(tmp_path / "A", a_mov=b"1")
    sealed(root)
    found = rushlight.check(root)
    assert (found.verdict, found.code, found.counts["matches"]) == ("all match", 0, 1)
    assert found.document()["files"] == [found.files[0].plain()]
    (root / "a.mov").write_bytes(b"2")
    assert rushlight.check(str(root), manifest=str(root)).code == 1


def test_it_can_be_cancelled(tmp_path: Path) -> None:
    root = card(tmp_path / "A", a_mov=b"1", b_mov=b"2")
    sealed(root)
    cancel = rushlight.Cancel()
    cancel.cancel()
    with pytest.raises(rushlight.CancelledError):
        rushlight.check(root, cancel=cancel)
    later = rushlight.Cancel()
    with pytest.raises(rushlight.CancelledError, match="before all files were checked"):
        rushlight.check(root, cancel=later, on_progress=lambda progress: later.cancel())


def test_wrong_use_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(rushlight.InputError, match="cannot be looked into"):
        rushlight.check(tmp_path / "nowhere")
    with pytest.raises(rushlight.InputError, match="holds no ASC MHL manifest"):
        rushlight.check(tmp_path, manifest=tmp_path)


def test_a_day_is_checked_with_its_manifests(tmp_path: Path) -> None:
    root = card(tmp_path / "cards" / "A001", a_mov=b"1")
    sealed(root)
    day = tmp_path / "day.toml"
    day.write_text('media = ["cards"]\n')
    found = rushlight.check(day)
    assert (found.verdict, found.media, found.files[0].path) == ("all match", day, "cards/A001/a.mov")
    day.write_text('media = ["cards"]\nmanifest = ["later.mhl"]\n')
    found = rushlight.check(day)
    assert found.code == 1 and "later.mhl is not there yet" in found.notes[0]
    assert rushlight.check(day, manifest=root / "ascmhl").code == 0  # an option overrules its key
    day.write_text("")
    with pytest.raises(rushlight.InputError, match="media: is not stated"):
        rushlight.check(day)
