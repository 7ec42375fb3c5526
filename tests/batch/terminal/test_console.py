"""Lines for people show what is hidden; documents for scripts are one JSON text that means exactly what it says."""

from __future__ import annotations

import json

import pytest

from rushlight.batch.terminal.console import say, say_json, say_wrapped

HOSTILE = "a\x1b[2J\u202eb"


def test_lines_go_where_they_are_sent_and_hide_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    say(HOSTILE)
    say("wrong", error=True)
    out, err = capsys.readouterr()
    assert (out, err) == ("a\\x1b[2J\\u202eb\n", "wrong\n")


def test_a_wrapped_line_keeps_names_whole(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    name = "/cards/A001-of-a-long-name/" + "x" * 60 + ".mov"
    say_wrapped(f"FAIL  {name}: " + "words and " * 20)
    lines = capsys.readouterr().out.splitlines()
    assert any(name in line for line in lines)
    assert all(len(line) <= 60 for line in lines if name not in line)
    assert all(line.startswith("  ") for line in lines[1:])


@pytest.mark.parametrize("indent", [2, None])
def test_a_document_is_one_and_means_the_exact_text(
    capsys: pytest.CaptureFixture[str], indent: int | None
) -> None:
    say_json({"clip": HOSTILE, "n": [1, 2.5, None]}, indent=indent)
    out = capsys.readouterr().out
    assert json.loads(out) == {"clip": HOSTILE, "n": [1, 2.5, None]}
    assert "\x1b" not in out and "\u202e" not in out
    assert (out.count("\n") == 1) == (indent is None)
