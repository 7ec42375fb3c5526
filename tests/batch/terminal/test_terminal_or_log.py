"""Words whose terminal, pipe or disk goes."""

import errno
import io
import os
import sys
from pathlib import Path

import pytest

from rushlight.batch.terminal.terminal_or_log import BEFORE, FILE, Deaf, Words, let_go


class Broken(io.StringIO):
    """A stream that takes some lines, and then fails."""

    def __init__(self, lines: int, code: int = errno.EIO) -> None:
        super().__init__()
        self.lines, self.code = lines, code

    def flush(self) -> None:
        self.lines -= 1
        if self.lines < 0:
            raise OSError(self.code, os.strerror(self.code))


@pytest.mark.parametrize("code", [errno.EIO, errno.EPIPE])
def test_lines_go_on_in_the_log_of_every_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    screen = Broken(1, code)
    monkeypatch.setattr(sys, "stdout", screen)
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
    words = Words()
    words.to(tmp_path / "one")
    for text in ("first", "second", "third"):
        words.put(text)
    words.to(tmp_path / "two")  # a queue's next folder has it all
    words.put("fourth")
    assert screen.getvalue().startswith("first\n")
    for name in ("one", "two"):
        said = (tmp_path / name / FILE).read_text().splitlines()
        assert "the terminal was closed or lost" in said[0]
        assert said[1:3] == ["    first", "    second"]
        assert [line[20:] for line in said[3:]] == ["third", "fourth"]


def test_what_cannot_be_written_for_want_of_room_comes_with_a_later_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdout", Broken(0))
    words = Words()
    words.to(tmp_path)
    real, full = os.open, [True]

    def opened(path: object, *rest: int, **more: int) -> int:
        if full[0] and str(path).endswith("run.txt"):
            raise OSError(errno.ENOSPC, "no space")
        return real(path, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", opened)
    words.put("one")
    words.put("two")
    assert not (tmp_path / FILE).exists()
    full[0] = False
    words.put("three")
    said = (tmp_path / FILE).read_text().splitlines()
    assert [line[20:] for line in said if line[:4] != "    "][1:] == ["two", "three"] and "    one" in said


def test_a_full_disk_behind_standard_output_is_no_lost_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdout", Broken(0, errno.ENOSPC))
    words = Words()
    words.to(tmp_path)
    words.put("one")
    assert not words.dead and not (tmp_path / "log").exists()


def test_a_closed_terminal_leaves_a_file_that_standard_output_was_sent_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = Words()
    words.to(tmp_path)
    words.hung_up()
    words.put("goes on")
    assert capsys.readouterr() == ("goes on\n", "rushlight: the terminal was closed; the night goes on\n")
    assert not (tmp_path / "log").exists()


def test_who_draws_by_himself_is_told_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", Broken(0))
    words = Words()
    words.to(tmp_path)
    drawn = Deaf(sys.stdout, words)
    assert drawn.write("bar") == 3 and not words.dead
    drawn.flush()
    assert words.dead == {"stdout"} and not drawn.isatty()


def test_no_link_out_of_the_folder_is_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", Broken(0))
    (tmp_path / "out" / "log").mkdir(parents=True)
    (tmp_path / "out" / FILE).symlink_to(tmp_path / "elsewhere")
    words = Words()
    words.to(tmp_path / "out")
    words.put("one")
    assert not (tmp_path / "elsewhere").exists()


def test_who_was_started_without_them_says_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As by `>&- 2>&-`."""
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    words = Words()
    words.to(tmp_path)
    words.put("one")
    words.put("two", error=True)
    words.hung_up()
    let_go()
    assert not words.dead


def test_memory_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", Broken(0))
    words = Words()
    for number in range(5000):
        words.put(str(number))
    assert len(words._said) == BEFORE and len(words._noted) == 2000


def test_a_stream_that_fails_at_the_end_is_let_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with (tmp_path / "x").open("w") as stream:

        class Fails(Broken):
            def fileno(self) -> int:
                return stream.fileno()

        monkeypatch.setattr(sys, "stdout", Fails(0))
        let_go()
        os.write(stream.fileno(), b"to nowhere")
    assert (tmp_path / "x").read_text() == ""


def test_lines_go_through_no_link(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A foreign output folder whose `log`, or the file in it, is a link."""
    monkeypatch.setattr(sys, "stdout", Broken(0))
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "one").mkdir()
    (tmp_path / "one" / "log").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "two" / "log").mkdir(parents=True)
    (tmp_path / "two" / FILE).symlink_to(tmp_path / "elsewhere" / "run.txt")
    words = Words()
    for name in ("one", "two"):
        words.to(tmp_path / name)
    words.put("said")
    assert not list((tmp_path / "elsewhere").iterdir())
