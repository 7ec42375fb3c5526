"""Names and notes that would steer a terminal or read another way, through whole commands: shown, and done no harm by."""

import json
import os
import re
import shutil
from pathlib import Path

import pytest

from at_terminal import at_a_terminal
from browsers import stopped
from here import HereFarm, farm_here, run, small_day, write_list  # noqa: F401
from logged import read_records
from test_visible_text import hidden

CLIP = "A001\x1b]0;taken\x07C\u202e001"
NOTE = "lamp\x1b[31m \u009b2J\u2066only\u2069"
SHOWN = r"A001\x1b]0;taken\x07C\u202e001.mov"


@pytest.fixture
def day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A good row, one of a hostile name and note, one set aside for a hostile encoding; a file that no row names and
    whose name is no UTF-8."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    small_day(tmp_path / "day", {"A001C001": 3, CLIP: 3})
    (tmp_path / "media").mkdir()
    shutil.copy(tmp_path / "day" / "A001C001.mov", os.fsencode(tmp_path / "media") + b"/caf\xe9\x1b.mov")
    rows = {
        "A001C001": {"scene": "4"},
        CLIP: {"scene": "\u202e5", "note": NOTE},
        "gone\x1b[2J": {"note": "x"},
    }
    return write_list(tmp_path / "day" / "day.csv", rows)


def shown(code: int, text: str, *wanted: int) -> str:
    assert code in wanted, text
    assert hidden(text) <= {"\n"}, [line for line in text.split("\n") if hidden(line)]
    return " ".join(text.split())


def test_plan(day: Path) -> None:
    given = ("plan", day, "--recipe", day.parent / "two.toml", "--media", day.parent.parent / "media")
    text = shown(*run(*given), 1, 2)
    assert r"gone\x1b[2J.mov" in text and r"caf\udce9\x1b.mov" in text
    assert r"A001\x1b]0;taken" in text  # wrapped in its column
    code, text = run(*given, "--json")
    assert code in (1, 2) and hidden(text) <= {"\n"}
    clips = {clip["clip"]: clip for clip in json.loads(text)["clips"]}
    assert clips[f"{CLIP}.mov"]["row"]["note"] == NOTE  # a script has the true name and note


def test_render_report_and_hook(day: Path, tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    out, told = tmp_path / "out", tmp_path / "told.json"
    hook = f"/bin/sh -c 'cat > {told}'"
    given = ("render", day, "--recipe", day.parent / "two.toml", "--media", tmp_path / "media")
    text = shown(*run(*given, "--out", out, "--on-finish", hook), 1)
    assert f"done {SHOWN}" in text and r"gone\x1b[2J.mov" in text
    summary = told.read_text()
    assert hidden(summary) <= {"\n"} and f"{CLIP}.mov" in json.loads(summary)["done"]
    for log in ("log/jobs.jsonl", "log/inputs/requests.jsonl"):
        assert hidden((out / log).read_text()) <= {"\n"}
    (record,) = [r for r in read_records(out) if r["clip"] == f"{CLIP}.mov"]
    assert record["row"]["note"] == NOTE
    page = (out / "report" / "index.html").read_text()
    assert hidden(page) <= {"\n"} and stopped(page) == []
    assert SHOWN in page and r"Scene \u202e5" in page and r"caf\udce9\x1b.mov" in page
    assert not [p for p in out.rglob("*") if hidden(os.fsdecode(p.relative_to(out)))]
    shown(*run("report", out), 0)
    text = shown(*run(*given, "--out", out), 1)
    assert "2 clips made earlier and unchanged" in text
    code, text = run(*given, "--out", out, "--json")
    assert code == 1 and hidden(text) <= {"\n"}
    assert (
        f"{CLIP}.mov" in [json.loads(line) for line in text.splitlines() if line[:1] == "{"][-1]["unchanged"]
    )
    text = shown(*run("verify", out), 0, 1)  # so small a picture keeps no numbers
    assert re.search(r"2 clips", text)


def test_queue(day: Path, tmp_path: Path) -> None:
    given = (day, "--recipe", day.parent / "two.toml", "--out", tmp_path / "out")
    text = shown(*run("queue", "add", *given), 1)
    assert r"gone\x1b[2J.mov" in text
    text = shown(*run("queue", "list"), 0)
    assert r"A001\x1b]0;taken" in text
    code, text = run("queue", "list", "--json")
    assert code == 0 and hidden(text) <= {"\n"} and f"{CLIP}.mov" in {row["clip"] for row in json.loads(text)}
    shown(*run("queue", "hold", "no\x1b[2J"), 2)


def test_a_look_and_grades_for_others(day: Path, tmp_path: Path) -> None:
    given = (day, "--recipe", day.parent / "two.toml")
    assert SHOWN in shown(*run("look", *given[:1], f"{CLIP}.mov", *given[1:]), 0)
    shown(*run("grades", *given, "--to", tmp_path / "grades"), 1)
    for path in (tmp_path / "grades").rglob("*"):
        assert hidden(path.name) == set()
        assert not path.is_file() or hidden(path.read_text()) <= {"\n", "\r"}, path


def test_a_real_terminal_is_told_nothing_by_a_name(day: Path, tmp_path: Path) -> None:
    """With the bar and the clips in hand, which have escapes of their own."""
    given = ("render", day, "--recipe", day.parent / "two.toml", "--out", tmp_path / "out", "--workers", 1)
    code, seen = at_a_terminal(*given)
    assert code == 1 and r"A001\x1b]0;taken\x07C\u202e001.mov" in seen
    assert not re.search("\x1b[^\\[]|\u202e|\u009b|\x07", seen)


@pytest.mark.parametrize(
    "words",
    [
        ("report", "out", "\x1b]0;x\x07"),
        ("report\u202e",),
        ("queue", "l\x9b2J"),
        ("verify", "a", "--\x1b[2J"),
    ],
)
def test_words_that_no_command_takes(words: tuple[str, ...]) -> None:
    assert "\\x" in (text := shown(*run(*words), 2)) or "\\u202e" in text
