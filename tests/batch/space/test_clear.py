"""One thing after another is cleared as it was seen, or stays."""

from __future__ import annotations

import os
import shutil
from contextlib import nullcontext
from pathlib import Path

import pytest

from rushlight.batch.cleared_log import read_cleared
from rushlight.batch.records.space import SpaceFolder, SpacePolicy
from rushlight.batch.space import clear
from rushlight.batch.space import survey as surveying
from rushlight.batch.space.folder_space import look_through
from superseded import revised


def look(out: Path, keep: int) -> SpaceFolder:
    return look_through(out, SpacePolicy(keep_revisions=keep, older_than=None)).told


def files_of(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return revised(tmp_path / "out")


def test_a_link_put_in_its_place_meanwhile_is_not_followed(out: Path, tmp_path: Path) -> None:
    told = look(out, 0)
    shutil.move(out / "revisions" / "1", tmp_path / "elsewhere")
    (out / "revisions" / "1").symlink_to(tmp_path / "elsewhere")
    before = files_of(tmp_path / "elsewhere")
    gone, left = clear.cleared_of(out, told.may_go, told.policy)
    assert len(gone) == 4 and len(left) == 2 and "is not as it was a moment ago" in left[0]
    assert files_of(tmp_path / "elsewhere") == before
    assert {each.path for each in read_cleared(out)} == {each.path for each in gone}


def test_what_changes_meanwhile_stays(out: Path) -> None:
    told = look(out, 0)
    (out / told.may_go[0].path).unlink()
    (out / told.may_go[0].path).write_bytes(b"somebody's own")
    (out / told.may_go[1].path).unlink()
    gone, left = clear.cleared_of(out, told.may_go, told.policy)
    assert len(gone) == 4 and len(left) == 2
    assert (out / told.may_go[0].path).read_bytes() == b"somebody's own"


def test_the_line_is_on_the_disk_before_the_file_goes(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told, real = look(out, 0), clear.unlink_as
    seen: list[str] = []

    def watched(root: Path, name: str, *, size: int, mtime_ns: int) -> bool:
        assert [each.path for each in read_cleared(root)] == [*seen, name]
        seen.append(name)
        return real(root, name, size=size, mtime_ns=mtime_ns)

    monkeypatch.setattr(clear, "unlink_as", watched)
    gone, left = clear.cleared_of(out, told.may_go, told.policy)
    assert seen == [each.path for each in gone] == [each.path for each in told.may_go] and not left


@pytest.fixture
def work(out: Path) -> Path:
    """What a night that was killed left of a clip that was finished nine days ago: its working folder."""
    work = out / ".work" / "A001C002"
    for name in ("0.mov", "sound/1.wav"):
        (work / name).parent.mkdir(parents=True, exist_ok=True)
        (work / name).write_bytes(b"segment")
        os.utime(work / name, (1, 1))
    return work


def old_work(out: Path) -> SpaceFolder:
    return look_through(out, SpacePolicy(keep_revisions=9, older_than=1)).told


def test_a_working_folder_goes_with_its_files(out: Path, work: Path) -> None:
    told = old_work(out)
    gone, left = clear.cleared_of(out, told.may_go, told.policy)
    assert [(each.path, each.files, each.bytes) for each in gone] == [(".work/A001C002", 2, 14)] and not left
    assert work.parent.is_dir() and not work.exists()


def test_another_disk_and_links_in_a_working_folder_stay(
    out: Path, work: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card that somebody mounted there, or linked: its originals are nobody's to clear."""
    card = work / "card"
    card.mkdir()
    (card / "A001C002.mov").write_bytes(b"the original")
    os.utime(card / "A001C002.mov", (1, 1))
    (tmp_path / "elsewhere").write_text("mine")
    (work / "link").symlink_to(tmp_path / "elsewhere")

    def scan(place: Path) -> object:
        return nullcontext([_Entry(entry, apart=entry.name == "card") for entry in scandir(place)])

    scandir = os.scandir
    monkeypatch.setattr(surveying.os, "scandir", scan)
    told = old_work(out)
    gone, left = clear.cleared_of(out, told.may_go, told.policy)
    monkeypatch.undo()
    assert [(each.files, each.bytes) for each in gone] == [(2, 14)] and not left
    assert files_of(work) == {"card/A001C002.mov": b"the original", "link": b"mine"}


def test_a_working_folder_in_which_something_changes_meanwhile_stays(out: Path, work: Path) -> None:
    told = old_work(out)
    (work / "2.mov").write_bytes(b"another")
    gone, left = clear.cleared_of(out, told.may_go, told.policy)
    assert not gone and "is not as it was a moment ago" in left[0] and len(files_of(work)) == 3
    shutil.rmtree(work)
    assert clear.cleared_of(out, told.may_go, told.policy)[0] == [] and not read_cleared(out)


class _Entry:
    """An entry of a folder; one that is apart is of another disk."""

    def __init__(self, entry: os.DirEntry[str], *, apart: bool) -> None:
        self.entry, self.name, self.apart = entry, entry.name, apart

    def __getattr__(self, name: str) -> object:
        return getattr(self.entry, name)

    def stat(self, *, follow_symlinks: bool) -> os.stat_result:
        info = self.entry.stat(follow_symlinks=follow_symlinks)
        fields = list(info)
        fields[2] += self.apart
        return os.stat_result(fields, {"st_mtime_ns": info.st_mtime_ns, "st_blocks": info.st_blocks})


def test_it_is_held_and_let_go(out: Path) -> None:
    with clear.held(out):
        assert (out / ".work" / "runner").read_bytes().endswith(b"(clearing it)")
    assert not (out / ".work").exists()
    (out / ".work").mkdir()
    with clear.held(out):
        pass
    assert (out / ".work" / "runner").is_file()
