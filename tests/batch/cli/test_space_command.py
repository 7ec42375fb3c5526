"""`rushlight space`: what it prints and how it ends."""

from __future__ import annotations

import json
from pathlib import Path

import rushlight as api
from here import run, rushlight
from rushlight.batch.handover.hand_over import Asked, hand_over
from rushlight.batch.queue.locks import hold_folder
from superseded import revised


def one_line(said: str) -> str:
    return " ".join(said.split())


def test_a_dry_run_and_then_the_same_with_remove(tmp_path: Path) -> None:
    out = revised(tmp_path / "out")
    code, said = run("space", out, "--keep-revisions", 1)
    assert code == 0 and max(map(len, said.splitlines())) <= 100
    found = api.space(out, keep_revisions=1)
    assert f"together 11 {found.bytes:,} {found.disk:,}" in one_line(said)
    assert said.count("\nmay go  revisions/") == 4 and "--remove clears it" in one_line(said)
    assert "stays 2 files, 114 bytes: the newest revision of its clip and output" in one_line(said)
    assert "proxies are no backup" in one_line(said) and (out / "revisions" / "1").is_dir()
    shown = [line for line in said.splitlines() if line.startswith("may go")]
    code, said = run("space", out, "--keep-revisions", 1, "--remove")
    cleared = [line for line in said.splitlines() if line.startswith("cleared  ")]
    assert code == 0 and cleared == [line.replace("may go", "cleared", 1) for line in shown]
    assert "cleared 4 files, " in one_line(said) and "by rule (keep_revisions = 1)" in one_line(said)
    code, said = run("space", out, "--keep-revisions", 1, "--remove")
    assert code == 0 and "nothing was cleared: nothing may go by rule" in one_line(said)
    assert "by rule (keep_revisions = 1): 4 files, " in one_line(said)  # cleared before


def test_several_folders_have_a_line_each(tmp_path: Path) -> None:
    one, other = revised(tmp_path / "one"), revised(tmp_path / "other")
    delivery = hand_over(Asked(out=one, name="editor")).folder
    said = one_line(run("space", one, other, delivery)[1])
    whole = api.space([one, other, delivery])  # type: ignore[list-item]
    going = sum(each.bytes for each in whole.may_go)
    assert said.startswith(f"in {tmp_path}: folder files bytes on disk may go -") and " one 1" in said
    assert f"together {whole.files} {whole.bytes:,} {whole.disk:,} {going:,}" in said
    assert f"{delivery}: is the closed delivery editor_001; nothing of it may go" in said
    assert f"{one}: handed over in editor_001: 4 files" in said
    assert f"may go {other}/revisions/1/editorial/A001C001.mov: 19 bytes, replaced 2026-11-26" in said
    assert "a file with names in several of the folders counts once" in said


def test_many_lines_are_cut_and_json_has_all(tmp_path: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr("rushlight.batch.cli.space_command.MOST", 1)
    out = revised(tmp_path / "out")
    assert "... and 5 more: --json has all" in run("space", out, "--keep-revisions", 0)[1]
    made = rushlight("space", out, "--keep-revisions", 0, "--json")
    assert json.loads(made.stdout) == api.space(out, keep_revisions=0).document() and not made.stderr
    assert len(json.loads(made.stdout)["folders"][0]["may_go"]) == 6


def test_what_is_wrong(tmp_path: Path) -> None:
    out = revised(tmp_path / "out")
    (tmp_path / "empty").mkdir()
    for words, text in (
        ((tmp_path / "empty",), "nothing here is ours to count or clear"),
        ((tmp_path / "none",), "is not a folder"),
        ((out, out), "is given twice"),
        ((), "Missing argument 'DIR...'"),
        ((out, "--older-than", 0), "--older-than"),
    ):
        made = rushlight("space", *words)
        assert made.returncode == 2 and text in made.stderr, (words, made.stderr)
    with hold_folder(out):
        made = rushlight("space", out, "--keep-revisions", 0, "--remove")
    assert made.returncode == 2 and "is being rendered into by process" in made.stderr


def test_links_and_notes_are_said(tmp_path: Path) -> None:
    out = revised(tmp_path / "out")
    (out / "link").symlink_to(tmp_path)
    (out / "log" / "handovers.jsonl").write_bytes(b"{}\n")
    code, said = run("space", out, "--keep-revisions", 0, "--remove")
    assert code == 1 and "1 link and the like, not followed and not counted" in one_line(said)
    assert "nothing may go" in one_line(said) and (out / "revisions" / "1").is_dir()
