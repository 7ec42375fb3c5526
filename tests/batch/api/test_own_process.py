"""A command says that its process is its own; nothing else does."""

import pytest

from rushlight.batch.api import own_process
from rushlight.batch.cli import main
from rushlight.batch.farm import child_processes


def test_the_command_alone_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(child_processes, "_own", False)
    monkeypatch.setattr("sys.argv", ["rushlight", "--version"])
    with pytest.raises(SystemExit):
        main.main()
    assert child_processes._own and own_process.own_process is child_processes.own_process
