"""Manifests given with a list: a clip that differs is not made unless the recipe says so, and none is called verified that was not."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from here import rushlight, small_day
from logged import latest, read_records
from manifests import card, entry, generation, hash_list, sealed
from rushlight.batch.check import compare_ahead
from rushlight.batch.check.compare_ahead import CompareAhead

GIVEN = ("--manifest", "auto")


@pytest.fixture
def day(tmp_path: Path) -> Path:
    """A list of two clips in a folder that is sealed."""
    clip_list = small_day(tmp_path / "card", {"A001C001": 2, "A001C002": 2})
    recipe = clip_list.with_name("two.toml")
    recipe.write_text(recipe.read_text().partition('[[output]]\nname = "viewing"')[0])  # one output will do
    sealed(clip_list.parent)
    return clip_list


def asked(day: Path, *more: object) -> tuple[object, ...]:
    return (day, "--recipe", day.with_name("two.toml"), *more)


def flipped(path: Path) -> None:
    """One bit of its last byte, which is of the header's end: it opens and decodes as before."""
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(data)


def recorded(out: Path) -> dict[str, dict[str, Any]]:
    """The latest record of each clip."""
    return {record["clip"]: record for record in latest(read_records(out)).values()}


def delivers_differing(day: Path) -> None:
    recipe = day.with_name("two.toml")
    recipe.write_text("deliver_differing = true\n" + recipe.read_text())


def test_plan_compares_names_and_sizes(day: Path) -> None:
    with (day.parent / "A001C002.mov").open("ab") as stream:
        stream.write(b"more")
    done = rushlight("plan", *asked(day, "--json", *GIVEN))
    found = json.loads(done.stdout)
    assert done.returncode == 1
    assert [(c["clip"], c["manifest"]["verdict"]) for c in found["clips"]] == [
        ("A001C001.mov", "not compared yet")
    ]
    (problem,) = found["problems"]
    assert (
        problem["clip"] == "A001C002.mov" and "is not as its manifest has it (differs: is " in problem["text"]
    )
    assert "`deliver_differing = true` in the recipe" in problem["text"]
    shown = rushlight("plan", *asked(day, *GIVEN)).stdout
    assert "original" in shown and "FAILED" in shown


def test_without_a_manifest_nothing_is_said(day: Path) -> None:
    found = json.loads(rushlight("plan", *asked(day, "--json")).stdout)
    assert [c["manifest"] for c in found["clips"]] == [None, None]


def test_a_clip_that_differs_is_not_delivered(day: Path, tmp_path: Path) -> None:
    flipped(day.parent / "A001C002.mov")
    out = tmp_path / "out"
    done = rushlight("render", *asked(day, "--out", out, *GIVEN))
    assert done.returncode == 1
    said = " ".join(done.stdout.split())
    assert "A001C002.mov: its original is not as its manifest has it (differs: its xxh64 is" in said
    records = recorded(out)
    first, second = records["A001C001.mov"], records["A001C002.mov"]
    assert first["status"] == "done" and first["source"]["manifest"]["verdict"] == "matches"
    assert second["status"] != "done" and "differs" in second["error"]
    assert not list(out.rglob("A001C002*.mov")) and list(out.rglob("A001C001.mov"))
    page = (out / "report" / "index.html").read_text()
    assert "original against its manifest: matches" in page and "is not as its manifest has it" in page


def test_a_recipe_may_deliver_it_all_the_same(day: Path, tmp_path: Path) -> None:
    flipped(day.parent / "A001C002.mov")
    delivers_differing(day)
    out = tmp_path / "out"
    assert rushlight("render", *asked(day, "--out", out, *GIVEN)).returncode == 0
    records = recorded(out)
    second = records["A001C002.mov"]
    assert second["status"] == "done" and second["source"]["manifest"]["verdict"] == "differs"
    assert any(
        w.startswith("its original is not verified: differs: its xxh64 is") for w in second["warnings"]
    )
    assert "original against its manifest: differs" in (out / "report" / "index.html").read_text()


def test_a_clip_that_no_manifest_names_says_so(day: Path, tmp_path: Path) -> None:
    mailed = tmp_path / "mailed.mhl"
    mailed.write_bytes(hash_list([entry("A001C001.mov", (day.parent / "A001C001.mov").read_bytes(), "md5")]))
    out = tmp_path / "out"
    assert rushlight("render", *asked(day, "--out", out, "--manifest", mailed)).returncode == 0
    records = recorded(out)
    assert records["A001C001.mov"]["source"]["manifest"]["kind"] == "md5"
    second = records["A001C002.mov"]
    assert second["source"]["manifest"]["verdict"] == "not in the manifest"
    assert "its original is not verified: not in the manifest: no manifest names it" in second["warnings"]


def test_a_manifest_that_was_changed_verifies_nothing(day: Path, tmp_path: Path) -> None:
    (manifest,) = (day.parent / "ascmhl").glob("*.mhl")
    manifest.write_bytes(manifest.read_bytes().replace(b"cart", b"cast"))
    out = tmp_path / "out"
    done = rushlight("render", *asked(day, "--out", out, *GIVEN))
    assert done.returncode == 0 and "note: manifest " in done.stdout
    assert {r["source"]["manifest"]["verdict"] for r in recorded(out).values()} == {"no usable hash"}


def test_what_was_asked_is_kept_and_asked_again(day: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert rushlight("render", *asked(day, "--out", out, *GIVEN)).returncode == 0
    for made in out.rglob("A001C001.mov"):
        made.unlink()
    flipped(day.parent / "A001C001.mov")
    done = rushlight("render", "--from", out)
    assert done.returncode == 1 and "is not as its manifest has it" in " ".join(done.stdout.split())


def test_a_kept_path_of_a_manifest_is_not_opened_again_unless_it_is_named(
    day: Path,
    tmp_path: Path,
) -> None:
    """What an output folder keeps is text that anybody may have written."""
    mailed = tmp_path / "mailed.mhl"
    mailed.write_bytes(hash_list([entry(p.name, p.read_bytes()) for p in day.parent.glob("*.mov")]))
    out = tmp_path / "out"
    assert rushlight("render", *asked(day, "--out", out, "--manifest", mailed)).returncode == 0
    for made in out.rglob("A001C001.mov"):
        made.unlink()
    done = rushlight("render", "--from", out)
    assert done.returncode == 0 and recorded(out)["A001C001.mov"]["source"]["manifest"] is None
    assert f"note: originals were held against {mailed} then; name it with --manifest" in " ".join(
        done.stdout.split()
    )
    flipped(day.parent / "A001C001.mov")
    for made in out.rglob("A001C001.mov"):
        made.unlink()
    assert rushlight("render", "--from", out, "--manifest", mailed).returncode == 1


def test_the_queue_compares_before_it_renders(day: Path, tmp_path: Path) -> None:
    flipped(day.parent / "A001C002.mov")
    queue = ("--queue", tmp_path / "q.sqlite")
    assert rushlight("queue", "add", *asked(day, "--out", tmp_path / "out", *GIVEN, *queue)).returncode == 0
    assert rushlight("queue", "run", *queue).returncode == 1
    rows = json.loads(rushlight("queue", "list", "--json", *queue).stdout)
    assert {row["clip"]: row["state"] for row in rows}["A001C002.mov"] == "failed"
    records = recorded(tmp_path / "out")
    assert records["A001C001.mov"]["source"]["manifest"]["verdict"] == "matches"
    assert "colour" not in records["A001C002.mov"] or not records["A001C002.mov"]["colour"].get("digest")


def test_a_copy_that_was_mended_is_compared_again(day: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    flipped(day.parent / "A001C002.mov")
    assert rushlight("render", *asked(day, "--out", out, *GIVEN)).returncode == 1
    flipped(day.parent / "A001C002.mov")  # and back
    assert rushlight("render", *asked(day, "--out", out, *GIVEN)).returncode == 0
    assert {r["source"]["manifest"]["verdict"] for r in recorded(out).values()} == {"matches"}


def test_a_manifest_that_is_not_there_is_wrong_use(day: Path, tmp_path: Path) -> None:
    done = rushlight("plan", *asked(day, "--manifest", tmp_path / "nowhere.mhl"))
    assert (
        done.returncode == 2
        and "--manifest takes an ASC MHL manifest, a folder `ascmhl`, or auto" in done.stderr
    )
    other = card(tmp_path / "other", b_mov=b"1")
    generation(other, entry("b.mov", b"1"))
    done = rushlight("plan", *asked(day, "--manifest", other))
    assert done.returncode == 0 and "names none of these originals" in " ".join(done.stdout.split())
    (tmp_path / "odd.mhl").write_text('<hashlist version="1.0"/>')
    done = rushlight("plan", *asked(day, "--manifest", tmp_path / "odd.mhl"))
    assert done.returncode == 2 and "is MHL 1.0" in done.stderr


def test_it_says_what_it_compares(
    day: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        CompareAhead, "news", lambda self: "comparing A001C001.mov with its manifest: 0 MB of 0 MB"
    )
    done = rushlight("render", *asked(day, "--out", tmp_path / "out", "--json", *GIVEN))
    said = [json.loads(line) for line in done.stdout.splitlines()]
    assert any(
        event["event"] == "phase" and event.get("text", "").startswith("comparing A001C001") for event in said
    )


def test_what_is_there_already_is_not_read_again(
    day: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    out = tmp_path / "out"
    rushlight("render", *asked(day, "--out", out, *GIVEN))
    monkeypatch.setattr(compare_ahead, "compared", lambda *more: pytest.fail("it was read again"))
    assert rushlight("render", *asked(day, "--out", out, *GIVEN)).returncode == 0
