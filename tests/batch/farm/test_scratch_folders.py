"""Working folders: private, gone with their run, and swept where it was killed; nothing else is touched."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from rushlight.batch.farm.scratch_folders import scratch_folder
from rushlight.pipelines.errors import OptionError


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path / "state" / "rushlight" / "scratch"


def test_it_is_private_and_goes_with_its_run(root: Path) -> None:
    before = os.umask(0)
    try:
        with scratch_folder() as folder, scratch_folder() as other:
            assert folder.parent == other.parent == root and folder != other
            assert {p.stat().st_mode & 0o777 for p in (root, folder, other)} == {0o700}
            (folder / "a" / "b").mkdir(parents=True)
            (folder / "a" / "file").write_text("x")
            (folder / "link").symlink_to(root)
    finally:
        os.umask(before)
    assert list(root.iterdir()) == []


def test_an_open_folder_of_before_is_made_private(root: Path) -> None:
    root.mkdir(parents=True)
    root.chmod(0o777)
    with scratch_folder():
        assert root.stat().st_mode & 0o777 == 0o700


HOLD = "from rushlight.batch.farm.scratch_folders import scratch_folder as s\nwith s() as f: print(f, flush=True); input()"


def test_what_a_killed_run_left_goes_and_what_lives_stays(root: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "precious").write_text("x")
    held = [
        subprocess.Popen(
            [sys.executable, "-c", HOLD], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        for _ in range(2)
    ]
    folders = [Path(p.stdout.readline().strip()) for p in held if p.stdout]
    for folder in folders:
        (folder / "dask-scratch-space" / "worker").mkdir(parents=True)
        (folder / "out").symlink_to(kept)
    held[0].send_signal(signal.SIGKILL)
    held[0].communicate()
    (root / "run-link").symlink_to(kept)
    (root / "run-file").write_text("x")
    (root / "other").mkdir()
    with scratch_folder() as mine:
        assert not folders[0].exists()
        assert {p.name for p in root.iterdir()} == {
            folders[1].name, mine.name, "run-link", "run-file", "other",
        }  # fmt: skip
    assert (kept / "precious").read_text() == "x" and (folders[1] / "out").is_symlink()
    held[1].communicate("\n")
    assert not folders[1].exists() and (kept / "precious").exists()


def test_a_state_folder_that_cannot_be_used_is_said(root: Path, tmp_path: Path) -> None:
    root.parent.mkdir(parents=True)
    root.symlink_to(tmp_path)
    with pytest.raises(OptionError, match=r"scratch: cannot be used .*\$XDG_STATE_HOME"), scratch_folder():
        pass
    root.unlink()
    root.write_text("a file")
    with pytest.raises(OptionError, match=r"File exists|Not a directory"), scratch_folder():
        pass


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a folder to another user")
def test_another_users_folder_is_not_used(root: Path) -> None:
    root.mkdir(parents=True)
    os.chown(root, 65534, 65534)
    with pytest.raises(OptionError, match="belongs to another user"), scratch_folder():
        pass


def test_folders_are_made_side_by_side_without_loss(root: Path) -> None:
    """Six processes at once: each sweeps while the others make theirs."""
    code = (
        "from rushlight.batch.farm.scratch_folders import scratch_folder as s\n"
        "for _ in range(20):\n with s() as f:\n  (f / 'x').write_text('x'); assert (f / 'x').exists()"
    )
    runs = [subprocess.Popen([sys.executable, "-c", code]) for _ in range(6)]
    assert [run.wait() for run in runs] == [0] * 6
    assert list(root.iterdir()) == []
