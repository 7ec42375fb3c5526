"""A command says that its process is its own; nothing else does."""

from pathlib import Path

import pytest

from rushlight.batch import own_process
from rushlight.batch.cli import main


def test_the_command_alone_says_so(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture) -> None:
    monkeypatch.setattr(own_process, "_own", False)
    assert not own_process.is_own()
    monkeypatch.setattr("sys.argv", ["rushlight", "--version"])
    with pytest.raises(SystemExit):
        main.main()
    assert own_process.is_own() and "rushlight" in capsys.readouterr().out


def test_nothing_is_left_where_temporary_files_lie(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("multiprocessing.util.get_temp_dir", lambda: str(tmp_path / "pymp-x"))
    (tmp_path / "pymp-x" / "listener").mkdir(parents=True)
    own_process.put_away()
    assert not (tmp_path / "pymp-x").exists()
