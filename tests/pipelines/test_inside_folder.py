"""Names stay inside their folder, at the moment of use."""

import os
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines import inside_folder
from rushlight.pipelines.errors import OutsideError

OUTSIDE = [
    *("", ".", "..", "/", "/etc/passwd", "../x", "a/../x", "a/..", "./a", "a/.", "a//b", "a/", "//a"),
    *("a\0b", "a\\b", "..\\x", "C:\\x", "\udc80\ud800", 5, None, True, ["a"], {"a": "b"}),
]


@pytest.mark.parametrize("name", OUTSIDE, ids=repr)
def test_names_that_lead_out(name: object) -> None:
    for check in (inside_folder.parts_of, inside_folder.file_name, inside_folder.output_name):
        with pytest.raises(OutsideError, match="is no name"):
            check(name)


def test_names_that_stay() -> None:
    assert inside_folder.parts_of("editorial/A002/A001C001 ä...mov") == (
        "editorial",
        "A002",
        "A001C001 ä...mov",
    )
    assert inside_folder.parts_of("..a") == ("..a",) and inside_folder.file_name("a b") == "a b"
    assert inside_folder.output_name("Editorial/x.mov") == "Editorial/x.mov"
    with pytest.raises(OutsideError, match="one file"):
        inside_folder.file_name("a/b")
    for name in ("x.mov", "log/jobs.jsonl", "LOG/jobs.jsonl", ".work/queue.sqlite", "report/index.html"):
        with pytest.raises(OutsideError, match="delivered file"):
            inside_folder.output_name(name)


@given(st.text("/.a\\\0", max_size=12))
def test_what_passes_lies_below(name: str) -> None:
    try:
        parts = inside_folder.parts_of(name)
    except OutsideError:
        return
    path = os.path.normpath("/folder/" + name)
    assert path.startswith("/folder/") and path == "/folder/" + "/".join(parts)


# --- links, at every call


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a file, a link to a folder outside, one to a file there, and a pipe; outside lies a file `kept`."""
    root, away = tmp_path / "out", tmp_path / "away"
    for place in (root / "sub", away):
        place.mkdir(parents=True)
    (root / "sub" / "file").write_bytes(b"inside")
    (away / "kept").write_bytes(b"outside")
    (root / "gone").symlink_to(away)
    (root / "sub" / "link").symlink_to(away / "kept")
    (root / "sub" / "broken").symlink_to(away / "new")
    os.mkfifo(root / "sub" / "pipe")
    return root


READERS: list[Callable[[Path, str], Any]] = [
    inside_folder.stat_of,
    inside_folder.path_of,
    inside_folder.open_file,
    inside_folder.read_bytes,
    inside_folder.append,
    lambda root, name: inside_folder.unlink_as(root, name, size=7, mtime_ns=0),
    lambda root, name: inside_folder.link(root, name, "new"),
    lambda root, name: inside_folder.move(root, name, "new"),
    lambda root, name: inside_folder.move(root, name, "new", sync=True),
    lambda root, name: inside_folder.Inside(root, name).read_bytes(),
]
WRITERS: list[Callable[[Path, str], Any]] = [
    lambda root, name: inside_folder.write(root, name, b"x"),
    lambda root, name: inside_folder.link(root, "sub/file", name),
    lambda root, name: inside_folder.move(root, "sub/file", name),
    inside_folder.fresh,
    inside_folder.make_folder,
    inside_folder.unlink,
]


@pytest.mark.parametrize("name", ["gone/kept", "gone/sub/new", "sub/link", "sub/broken"])
@pytest.mark.parametrize("call", READERS)
def test_nothing_is_read_through_a_link(call: Callable[[Path, str], Any], name: str, folder: Path) -> None:
    before = os.listdir(folder / "sub")
    with pytest.raises(OutsideError, match=r"is a symbolic link to .*away") as caught:
        call(folder, name)
    assert str(folder) in str(caught.value)
    assert os.listdir(folder.parent / "away") == ["kept"] and os.listdir(folder / "sub") == before
    assert (folder.parent / "away" / "kept").read_bytes() == b"outside"
    assert not inside_folder.is_file(folder, name)


@pytest.mark.parametrize("name", ["gone/kept", "gone/new", "gone/sub/new"])
@pytest.mark.parametrize("call", WRITERS)
def test_nothing_is_written_through_a_link(call: Callable[[Path, str], Any], name: str, folder: Path) -> None:
    with pytest.raises(OutsideError, match="is a symbolic link"):
        call(folder, name)
    assert os.listdir(folder.parent / "away") == ["kept"]
    assert (folder.parent / "away" / "kept").read_bytes() == b"outside"
    assert (folder / "sub" / "file").read_bytes() == b"inside"


def test_a_link_at_the_name_itself_is_replaced_and_not_followed(folder: Path) -> None:
    away = folder.parent / "away"
    inside_folder.write(folder, "sub/link", b"new")
    assert inside_folder.fresh(folder, "sub/broken").read_bytes() == b""
    assert (folder / "sub" / "link").read_bytes() == b"new" and not (folder / "sub" / "link").is_symlink()
    assert os.listdir(away) == ["kept"] and (away / "kept").read_bytes() == b"outside"
    (folder / "sub" / "again").symlink_to(away / "kept")
    inside_folder.unlink(folder, "sub/again")
    assert not os.path.lexists(folder / "sub" / "again") and (away / "kept").exists()


def test_a_tree_goes_and_what_its_links_lead_to_stays(folder: Path) -> None:
    inside_folder.remove_tree(folder, "gone")  # a link is left
    inside_folder.remove_tree(folder, "gone/sub")
    inside_folder.remove_tree(folder, "..")
    assert (folder / "gone").is_symlink() and (folder.parent / "away" / "kept").exists()
    inside_folder.remove_tree(folder, "sub")
    assert not (folder / "sub").exists() and (folder.parent / "away" / "kept").exists()


def test_a_tree_with_a_disk_mounted_in_it_stays(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody's originals, perhaps."""
    disk = folder / "sub" / "disk"
    disk.mkdir()
    (disk / "original.mov").write_bytes(b"1")
    inode, fstat = disk.stat().st_ino, os.fstat

    def other_disk(handle: int) -> SimpleNamespace | os.stat_result:
        found = fstat(handle)
        return SimpleNamespace(st_dev=found.st_dev + 1) if found.st_ino == inode else found

    monkeypatch.setattr(inside_folder.os, "fstat", other_disk)
    inside_folder.remove_tree(folder, "sub")
    assert (disk / "original.mov").exists()
    monkeypatch.undo()
    inside_folder.remove_tree(folder, "sub")
    assert not disk.exists()


def test_a_pipe_is_not_opened(folder: Path) -> None:
    for call in READERS[:5]:
        with pytest.raises(OSError, match="no plain file"):
            call(folder, "sub/pipe")
    assert not inside_folder.is_file(folder, "sub/pipe") and not inside_folder.is_file(folder, "sub")


def test_the_folder_itself_may_be_a_link(tmp_path: Path) -> None:
    (tmp_path / "disk").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "disk")
    inside_folder.write(tmp_path / "out", "log/jobs.jsonl", b"{}", sync=True)
    assert (tmp_path / "disk" / "log" / "jobs.jsonl").read_bytes() == b"{}"
    inside_folder.refuse_links(tmp_path / "out", ["editorial/A"])
    (tmp_path / "disk" / "editorial").symlink_to(tmp_path)
    with pytest.raises(OutsideError, match="editorial: is a symbolic link"):
        inside_folder.refuse_links(tmp_path / "out", ["editorial/A"])


@pytest.mark.parametrize("place", [".work", "ascmhl", "log", "log/inputs", "report/pictures", "revisions"])
def test_own_folders_are_no_links(place: str, tmp_path: Path) -> None:
    (tmp_path / "out" / place).parent.mkdir(parents=True)
    (tmp_path / "out" / place).symlink_to(tmp_path)
    with pytest.raises(OutsideError, match=f"{place}: is a symbolic link"):
        inside_folder.refuse_links(tmp_path / "out")


def test_only_what_is_as_recorded_is_taken_away(folder: Path) -> None:
    info = (folder / "sub" / "file").stat()
    for size, mtime in ((5, info.st_mtime_ns), (6, info.st_mtime_ns + 10**10)):
        assert not inside_folder.unlink_as(folder, "sub/file", size=size, mtime_ns=mtime)
        assert (folder / "sub" / "file").exists()
    assert inside_folder.unlink_as(folder, "sub/file", size=6, mtime_ns=info.st_mtime_ns)
    assert not (folder / "sub" / "file").exists()


def test_a_folder_that_becomes_a_link_between_check_and_use(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody puts a link in a folder's place once its parts were looked at: the folder that was opened is the one used."""
    away, real = folder.parent / "away", inside_folder._stat
    victim = away / "file"
    victim.write_bytes(b"inside")  # of the size and time that the record has
    info = (folder / "sub" / "file").stat()
    os.utime(victim, ns=(info.st_mtime_ns, info.st_mtime_ns))

    def swapped(*arguments: Any) -> os.stat_result:
        found = real(*arguments)
        os.rename(folder / "sub", folder / "moved")
        (folder / "sub").symlink_to(away)
        return found

    monkeypatch.setattr(inside_folder, "_stat", swapped)
    assert inside_folder.unlink_as(folder, "sub/file", size=6, mtime_ns=info.st_mtime_ns)
    monkeypatch.undo()
    assert victim.read_bytes() == b"inside" and not (folder / "moved" / "file").exists()


def test_a_file_is_written_whole_or_not_at_all(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*arguments: Any, **options: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(inside_folder.os, "replace", full)
    with pytest.raises(OSError, match="No space"):
        inside_folder.write(folder, "sub/file", b"new")
    assert (folder / "sub" / "file").read_bytes() == b"inside"
    assert sorted(os.listdir(folder / "sub")) == ["broken", "file", "link", "pipe"]


def test_empty_folders_above_a_name_go_as_far_as_they_are_empty(tmp_path: Path) -> None:
    for name in ("a/b/c/d", "a/full/c"):
        (tmp_path / name).mkdir(parents=True)
    (tmp_path / "a" / "full" / "x").touch()
    inside_folder.drop_empty(tmp_path, "a/b/c/d/x.mov", keep=2)
    assert (tmp_path / "a" / "b").is_dir() and not (tmp_path / "a" / "b" / "c").exists()
    inside_folder.drop_empty(tmp_path, "a/b/x.mov", keep=0)
    inside_folder.drop_empty(tmp_path, "a/full/c/x.mov", keep=0)
    assert [path.name for path in (tmp_path / "a").rglob("*")] == ["full", "x"]
    (tmp_path / "link").symlink_to(tmp_path / "a")
    inside_folder.drop_empty(tmp_path, "link/x.mov", keep=0)
    inside_folder.drop_empty(tmp_path, "not/there/x.mov", keep=0)
    assert (tmp_path / "link").is_symlink() and (tmp_path / "a").is_dir()


def test_a_file_that_says_the_same_is_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b"
    inside_folder.write_unless_same(tmp_path, "a/b", b"one")
    os.utime(path, ns=(1, 1))
    inside_folder.write_unless_same(tmp_path, "a/b", b"one")
    assert path.stat().st_mtime_ns == 1
    inside_folder.write_unless_same(tmp_path, "a/b", b"other")
    assert path.stat().st_mtime_ns != 1 and path.read_bytes() == b"other"
