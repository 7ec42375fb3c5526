"""What lies below a folder: names and sizes, and nothing opened or followed."""

import os
from pathlib import Path

import pytest

from manifests import card, sealed
from rushlight.batch.check.media_contents import contents_of
from rushlight.pipelines.errors import OptionError


def test_files_folders_and_histories(tmp_path: Path) -> None:
    card(tmp_path, A__Clips__a_mov=b"123", A__Empty__x_y=b"")
    (tmp_path / ".DS_Store").write_bytes(b"1")
    (tmp_path / "A" / "Empty" / "x.y").unlink()
    sealed(tmp_path / "A")
    (tmp_path / "loose.MHL").write_bytes(b"")
    found = contents_of(tmp_path)
    assert [(f.path, f.size) for f in found.media.files] == [
        (".DS_Store", 1),
        ("A/Clips/a.mov", 3),
        ("loose.MHL", 0),
    ]
    assert found.media.folders == {"A", "A/Clips", "A/Empty"}
    assert (found.histories, found.loose) == (("A",), ("loose.MHL",))


def test_links_and_pipes_are_faults_of_their_own(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    card(outside, secret_mov=b"1")
    root = card(tmp_path / "card", a_mov=b"1")
    (root / "folder").symlink_to(outside)
    (root / "file").symlink_to(outside / "secret.mov")
    (root / "gone").symlink_to("nowhere")
    os.mkfifo(root / "pipe")
    found = {f.path: f.fault for f in contents_of(root).media.files}
    assert set(found) == {"a.mov", "folder", "file", "gone", "pipe"} and not found["a.mov"]
    assert all("is a symbolic link to" in found[name] for name in ("folder", "file", "gone"))
    assert "is a pipe or a device" in found["pipe"]


def test_a_name_that_is_no_text_is_kept(tmp_path: Path) -> None:
    with open(os.fsencode(tmp_path) + b"/\xff.mov", "wb"):
        pass
    assert [f.path for f in contents_of(tmp_path).media.files] == ["\udcff.mov"]


def test_what_is_no_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.mov").write_bytes(b"")
    with pytest.raises(OptionError, match="is a file; give the folder of the card"):
        contents_of(tmp_path / "a.mov")
    with pytest.raises(OptionError, match="cannot be looked into: No such file"):
        contents_of(tmp_path / "nowhere")


def test_a_folder_that_may_not_be_looked_into_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card(tmp_path, A__a_mov=b"1", B__b_mov=b"1")
    before = os.scandir

    def scan(path: Path):  # type: ignore[no-untyped-def]
        if Path(path).name == "A":
            raise PermissionError(13, "Permission denied")
        return before(path)

    monkeypatch.setattr(os, "scandir", scan)
    found = contents_of(tmp_path).media
    assert found.closed == {"A": "Permission denied"} and [f.path for f in found.files] == ["B/b.mov"]
