"""A file gets its final name only once what stands there is kept."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from here import files
from logged import append_record
from recorded import movie, recorded
from rushlight.batch.finish import final_name
from rushlight.pipelines.errors import ResourceError, RushlightError

MOVIE = "editorial/A001C001.mov"


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """A folder with an old file, and the new one that is to have its name."""
    (tmp_path / "editorial").mkdir()
    (tmp_path / MOVIE).write_bytes(b"old")
    (tmp_path / "new").write_bytes(b"new")
    return tmp_path


def test_without_room_to_keep_it_the_old_file_stands(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:

    def full(root: Path, name: str, new: str) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch, pytest.raises(ResourceError):
        patch.setattr(final_name, "link", full)
        final_name.place(out, "new", MOVIE, "editorial")
    assert files(out, "editorial") == {MOVIE: b"old"} and (out / "new").exists()
    [stood] = final_name.place(out, "new", MOVIE, "editorial")
    assert stood.kept == f"revisions/1/{MOVIE}" and files(out, "revisions", "editorial") == {
        f"revisions/1/{MOVIE}": b"old",
        MOVIE: b"new",
    }


def test_what_is_the_new_file_already_is_nothing_to_keep(out: Path) -> None:
    for name in (MOVIE, "new"):
        (out / name).write_bytes(b"the same")
    assert final_name.place(out, "new", MOVIE, "editorial") == []
    assert not (out / "revisions").exists()


def test_it_is_kept_by_the_revision_that_the_log_has_of_it(out: Path) -> None:
    info = (out / MOVIE).stat()
    told = {"bytes": info.st_size, "mtime_ns": info.st_mtime_ns, "revision": 3}
    append_record(out, recorded("a", outputs=[movie(path=MOVIE) | told]))
    append_record(out, recorded("a", outputs=[movie(path=MOVIE) | {"revision": 5}]))
    [stood] = final_name.place(out, "new", MOVIE, "editorial")
    assert (stood.kept, stood.revision, stood.bytes) == (f"revisions/3/{MOVIE}", 3, 3)
    (out / "new").write_bytes(b"newer")
    [stood] = final_name.place(out, "new", MOVIE, "editorial")  # unknown, and after all of that name
    assert stood.kept == f"revisions/5/{MOVIE}"
    assert files(out, "revisions") == {f"revisions/3/{MOVIE}": b"old", f"revisions/5/{MOVIE}": b"new"}


def test_a_link_goes_and_what_it_leads_to_stays(out: Path) -> None:
    (out / MOVIE).rename(out / "elsewhere")
    (out / MOVIE).symlink_to(out / "elsewhere")
    assert final_name.place(out, "new", MOVIE, "editorial") == []
    assert (out / "elsewhere").read_bytes() == b"old" and (out / MOVIE).read_bytes() == b"new"


def test_a_folder_of_that_name_is_refused(out: Path) -> None:
    (out / MOVIE).unlink()
    (out / MOVIE).mkdir()
    with pytest.raises(RushlightError):
        final_name.place(out, "new", MOVIE, "editorial")
    assert (out / MOVIE).is_dir() and (out / "new").exists()
