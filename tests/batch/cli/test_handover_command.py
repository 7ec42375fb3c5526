"""`rushlight handover`: what it prints, what is first in it, and how it ends."""

from __future__ import annotations

import json
from pathlib import Path

from handed import deliver, delivered
from here import run, rushlight
from rushlight.batch.queue.locks import hold_folder


def test_what_it_prints(tmp_path: Path) -> None:
    out, to = delivered(tmp_path / "out"), tmp_path / "to"
    code, said = run("handover", out, "--name", "editor", "--to", to)
    assert code == 0 and max(len(line) for line in said.splitlines() if str(tmp_path) not in line) <= 100
    said = " ".join(said.split())
    assert "editor_001: 4 files (4 linked)" in said and "change none of them" in said
    assert "rushlight check editor_001" in said and "no backup" in said
    deliver(out, "A001C003", {"editorial/A001C003.mov": b"x"})
    code, said = run(
        "handover", out, "--name", "editor", "--to", to, "--copy", "--outputs", "editorial, viewing"
    )
    assert code == 1 and "editor_002: 1 file (1 copied): 1 new, since editor_001" in " ".join(said.split())
    assert said.startswith("MISSING  A001C003: no file")
    assert (
        run("handover", out, "--name", "editor", "--to", to)[1].count("nothing has changed since editor_002")
        == 1
    )


def test_json_is_one_document(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    made = rushlight("handover", out, "--name", "editor", "--json")
    document = json.loads(made.stdout)
    assert made.returncode == 0 and not made.stderr
    assert document["handover"] == json.loads((tmp_path / "editor_001" / "handover.json").read_text())


def test_what_is_wrong(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    for words, text in (
        (("--name", "a/b"), "--name: 'a/b' is no name that every disk takes"),
        (("--name", "x", "--outputs", "stills"), "there are editorial, viewing"),
        (("--name", "x", "--to", out / "sub"), "--to: lies inside the output folder itself"),
    ):
        made = rushlight("handover", out, *words)
        assert made.returncode == 2 and text in made.stderr, (words, made.stderr)
    with hold_folder(out):
        made = rushlight("handover", out, "--name", "x")
    assert made.returncode == 2 and "is being rendered into by process" in made.stderr
    assert rushlight("handover", tmp_path / "none", "--name", "x").returncode == 2


def test_without_a_name_it_lists(tmp_path: Path) -> None:
    out = delivered(tmp_path / "out")
    assert "nothing was handed over yet" in run("handover", out)[1]
    run("handover", out, "--name", "editor", "--to", tmp_path / "to", "--outputs", "viewing")
    deliver(out, "A001C001", {"editorial/A001C001.mov": b"x"})
    run("handover", out, "--name", "editor", "--to", tmp_path / "to")
    code, said = run("handover", out)
    rows = [line.split("  ") for line in said.splitlines()]
    assert (
        code == 0
        and rows[0][0] == "delivery"
        and [row[0] for row in rows if row[0].startswith("editor_")] == ["editor_001", "editor_002"]
    )
    assert max(map(len, said.splitlines())) <= 100
    found = json.loads(run("handover", out, "--json")[1])["handovers"]
    assert [each["folder"] for each in found] == ["editor_001", "editor_002"]
    made = rushlight("handover", out, "--to", tmp_path / "to")
    assert made.returncode == 2 and "--name: is needed" in made.stderr
    assert rushlight("handover", tmp_path / "none").returncode == 2
