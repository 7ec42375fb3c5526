"""`rushlight check` as its user sees it: words, exit codes, one document for scripts."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from here import run, rushlight
from manifests import card, chain, entry, generation, hash_list, sealed
from rushlight.batch.api.check import CheckProgress
from rushlight.batch.terminal.progress_line import ProgressLine


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = card(tmp_path / "A001", Clips__a_mov=b"abc", b_mov=b"12")
    sealed(root)
    return root


def test_all_match(root: Path) -> None:
    done = rushlight("check", root)
    assert (done.returncode, done.stderr) == (0, "")
    assert "2 files match; 1 of 1 manifest intact" in " ".join(done.stdout.split())  # a long path wraps it
    assert "\nall match\n" in done.stdout
    assert "not that the card was complete" in " ".join(done.stdout.split())


def test_media_without_a_manifest_are_compared_with_nothing(tmp_path: Path) -> None:
    code, said = run("check", card(tmp_path / "bare", a_mov=b"1", b_mov=b"2"))
    words = " ".join(said.split())
    assert code == 1 and "bare: 2 files and no manifest to hold them against NO MANIFEST: " in words
    assert "Nothing was compared, and nothing is proved." in words
    assert "intact" not in words and "A match proves" not in words and " 0 " not in words


def test_what_is_wrong_stands_first(root: Path) -> None:
    (root / "b.mov").write_bytes(b"13")
    (root / "Clips" / "a.mov").unlink()
    card(root, c_mov=b"1")
    done = rushlight("check", root)
    lines = done.stdout.splitlines()
    assert done.returncode == 1
    heads = (
        "DIFFERS  b.mov: ",
        "MISSING  Clips/a.mov: ",
        "NOT IN THE MANIFEST  c.mov: ",
        "DOES NOT MATCH: copy again",
    )
    places = [next(n for n, line in enumerate(lines) if line.startswith(head)) for head in heads]
    assert places == sorted(places) and places[0] == 0
    assert "its xxh64 is" in lines[0] + lines[1] and max(map(len, lines)) <= 100


def test_each_verdict_has_its_exit_code(root: Path, tmp_path: Path) -> None:
    """As docs/reference/check.md has them."""

    def code(*words: object) -> int:
        return rushlight("check", *words).returncode

    assert code(root) == 0
    bare = card(tmp_path / "bare", a_mov=b"1")
    assert code(bare) == 1  # no manifest
    card(root, new_mov=b"1")
    assert code(root) == 1  # not in the manifest
    (root / "new.mov").unlink()
    (root / "link").symlink_to("b.mov")
    assert code(root) == 1  # cannot be read
    (root / "link").unlink()
    (manifest,) = (root / "ascmhl").glob("*.mhl")
    whole = manifest.read_bytes()
    manifest.write_bytes(whole.replace(b"xxh64", b"sha256"))
    chain(manifest.parent)
    assert code(root) == 1  # no usable hash
    manifest.write_bytes(whole)
    assert code(root) == 1  # the chain is broken
    chain(manifest.parent)
    generation(root, entry("b.mov", b"12", action="verified")).unlink()
    assert code(root) == 1  # a manifest of the chain is gone
    assert code(root, "--manifest", manifest) == 0
    assert (
        code(root / "b.mov")
        == code(tmp_path / "nowhere")
        == code(root, "--manifest", tmp_path / "nowhere")
        == 2
    )


def test_mhl_1_is_refused_by_name(root: Path, tmp_path: Path) -> None:
    old = tmp_path / "A001.mhl"
    old.write_text('<hashlist version="1.1"><hash><file>b.mov</file></hash></hashlist>')
    done = rushlight("check", root, "--manifest", old)
    assert (done.returncode, done.stdout) == (2, "")
    assert f"rushlight: {old}:1: is MHL 1.1" in done.stderr and "Ask whoever made the copy" in done.stderr


def test_the_document(root: Path) -> None:
    (root / "b.mov").write_bytes(b"13")
    done = rushlight("check", root, "--json")
    found = json.loads(done.stdout)
    assert (done.returncode, found["schema"], found["verdict"]) == (1, "rushlight-check-1", "does not match")
    assert [(f["path"], f["verdict"]) for f in found["files"]] == [
        ("b.mov", "differs"),
        ("Clips/a.mov", "matches"),
    ]
    assert found["counts"] == {"differs": 1, "missing": 0, "cannot be read": 0, "no usable hash": 0, "not in the manifest": 0, "matches": 1, "ignored": 0}  # fmt: skip
    assert found["manifests"][0]["verdict"] == "intact" and found["files"][0]["kind"] == "xxh64"


def test_a_named_manifest(root: Path, tmp_path: Path) -> None:
    given = tmp_path / "mailed.mhl"
    given.write_bytes(hash_list([entry("b.mov", b"12"), entry("Clips/a.mov", b"abc")]))
    done = rushlight("check", root, "--manifest", given)
    assert done.returncode == 0
    assert "MANIFEST alone" in done.stdout and "no chain names it" in " ".join(done.stdout.split())


def test_names_are_shown_with_nothing_hidden(tmp_path: Path) -> None:
    root = card(tmp_path / "A", **{"a\x1b[2J\u202e_mov": b"1"})
    generation(root)
    done = rushlight("check", root)
    assert "a\\x1b[2J\\u202e.mov" in done.stdout and "\x1b" not in done.stdout


def test_a_line_at_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = io.StringIO()
    monkeypatch.setattr(sys, "stderr", screen)
    line = ProgressLine("checking")
    line(CheckProgress(path="a\x1b.mov", done=5, bytes=10))
    line(CheckProgress(path="a.mov", done=10, bytes=10))  # at once: not drawn
    line.clear()
    assert (
        screen.getvalue().startswith("\rchecking: 50 % of 10 bytes, a\\x1b.mov")
        and "100 %" not in screen.getvalue()
    )
    assert screen.getvalue().endswith("\r")
