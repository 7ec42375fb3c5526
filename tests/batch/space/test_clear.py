"""One thing after another is cleared as it was seen, or stays."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from rushlight.batch.cleared_log import read_cleared
from rushlight.batch.records.space import SpaceFolder, SpacePolicy
from rushlight.batch.space import clear
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


def test_it_is_held_and_let_go(out: Path) -> None:
    with clear.held(out):
        assert (out / ".work" / "runner").read_bytes().endswith(b"(clearing it)")
    assert not (out / ".work").exists()
    (out / ".work").mkdir()
    with clear.held(out):
        pass
    assert (out / ".work" / "runner").is_file()
