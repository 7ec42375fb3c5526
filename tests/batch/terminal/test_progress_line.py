"""The line of a reading: drawn a few times a second, never wider than the terminal's hundred columns, gone at the end."""

import pytest

from rushlight.batch.api.check import CheckProgress
from rushlight.batch.terminal import progress_line
from rushlight.batch.terminal.progress_line import ProgressLine


def test_it_is_drawn_and_cleared(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    now = 10.0
    monkeypatch.setattr(progress_line.time, "monotonic", lambda: now)
    line = ProgressLine("handing over")
    line.clear()
    line(CheckProgress(path="a" * 200, done=10**9, bytes=4 * 10**9))
    line(CheckProgress(path="b", done=2 * 10**9, bytes=4 * 10**9))  # too soon
    drawn = capsys.readouterr().err
    assert drawn.startswith("\rhanding over: 25 % of 4.0 GB, aaa") and len(drawn) == 100 and "b" not in drawn
    line.clear()
    assert capsys.readouterr().err == ("\r" + " " * 99 + "\r") + "\r\r"


def test_without_bytes_there_is_no_share(capsys: pytest.CaptureFixture[str]) -> None:
    ProgressLine("checking")(CheckProgress(path="a", done=0, bytes=0))
    assert capsys.readouterr().err == ""
