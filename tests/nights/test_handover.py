"""A night handed over: rendered, closed, revised, closed again, checked by others, and made again from the closed delivery."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from browsers import stopped
from here import RECIPE, rushlight, small_day, write_list

STILLS = """
[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg"]
size = "128x72"
"""
JUDGE = Path(__file__).resolve().parents[1] / "support" / "ascmhl_histories.py"


def judged(*folders: Path) -> list[dict[str, object]]:
    """What the standard's own package says of histories."""
    made = subprocess.run(
        [sys.executable, "-W", "ignore", JUDGE, "--judge", *folders],
        capture_output=True,
        text=True,
        check=True,
    )
    return [json.loads(line) for line in made.stdout.splitlines()]


def digests(out: Path) -> dict[str, str]:
    lines = (out / "log" / "jobs.jsonl").read_text().splitlines()
    return {r["clip"]: r["colour"]["digest"] for r in map(json.loads, lines)}


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two deliveries of a day of two clips, the second after a grade was revised; gives the folder of all."""
    place = tmp_path_factory.mktemp("night")
    rows = {
        "A001C001": {"scene": "1", "take": "2", "slope": "1.1 1 0.9"},
        "A001C002": {"scene": "1", "take": "3"},
    }
    day = small_day(place / "day", {"A001C001": 3, "A001C002": 2})
    (day.parent / "two.toml").write_text(RECIPE + STILLS)
    write_list(day, rows)

    def rendered() -> None:
        made = rushlight("render", day, "--recipe", day.parent / "two.toml", "--out", place / "out")
        assert made.returncode == 0, made.stdout + made.stderr

    rendered()
    first = rushlight("handover", place / "out", "--name", "editor", "--to", place / "to")
    assert first.returncode == 0, first.stdout + first.stderr
    write_list(day, rows | {"A001C002": {"scene": "1", "take": "3", "slope": "0.8 0.8 0.8"}})
    rendered()
    second = rushlight("handover", place / "out", "--name", "editor", "--to", place / "to")
    assert second.returncode == 0, second.stdout + second.stderr
    return place


def test_the_second_says_what_changed_and_why(night: Path) -> None:
    letter = (night / "to" / "editor_002" / "letter.txt").read_text()
    assert letter.split("\n\n")[1].startswith("MISSING\nNothing: every clip")
    changed = next(part for part in letter.split("\n\n") if part.startswith("CHANGED SINCE EDITOR_001"))
    words = " ".join(changed.split())
    assert (
        "editorial/A001C002.mov, viewing/A001C002.mp4, stills/A001C002.jpg: revision 2: another look: "
        in words
    )
    assert "A001C001" not in letter
    files = {p.name for p in (night / "to" / "editor_002").rglob("*.m*")}
    assert {"A001C002.mov", "A001C002.mp4"} <= files and "A001C001.mov" not in files


def test_grades_and_tables_are_of_what_is_in_it(night: Path) -> None:
    first, second = night / "to" / "editor_001", night / "to" / "editor_002"
    assert {p.name for p in (first / "grades").glob("*.cdl")} == {"A001C001.cdl"}
    assert {p.name for p in (second / "grades").glob("*.cdl")} == {"A001C002.cdl"}
    assert (second / "grades" / "A001C002.amf").is_file()
    assert "1.1 1.0 0.9" in (first / "grades" / "A001C001.cdl").read_text()
    assert (second / "editorial" / "clips.csv").read_bytes().count(b"\r\n") == 2


def test_the_page_shows_its_clips(night: Path) -> None:
    second = night / "to" / "editor_002"
    page = (second / "index.html").read_text()
    (picture,) = (second / "pictures").iterdir()
    assert f'src="./pictures/{picture.name}"' in page and picture.name.startswith("A001C002")
    assert stopped(page) == []


def test_the_first_is_as_it_was_handed_over(night: Path) -> None:
    """Its files are linked, and their revision took nothing from them."""
    checked = rushlight("check", night / "to" / "editor_001")
    assert checked.returncode == 0, checked.stdout
    assert "all match" in checked.stdout and "a delivery is no backup" in checked.stdout.lower()
    assert "editor_001" in checked.stdout


def test_other_readers_of_manifests_agree(night: Path, tmp_path: Path) -> None:
    whole = shutil.copytree(night / "to" / "editor_002", tmp_path / "whole")
    bad = shutil.copytree(whole, tmp_path / "bad")
    with (bad / "viewing" / "A001C002.mp4").open("r+b") as stream:
        stream.write(b"x")
    good, wrong = judged(whole, bad)
    assert good == {"code": 0, "new": [], "differs": [], "missing": []}
    assert wrong["differs"] == ["viewing/A001C002.mp4"] and wrong["code"] != 0
    assert rushlight("check", bad).returncode == 1


def test_verify_measures_a_delivery_as_the_folder_it_is_of(night: Path) -> None:
    """And writes nothing into it. (Pictures of so few tiles may fail; they fail in both.)"""
    folder = night / "to" / "editor_002"
    (there,) = json.loads(rushlight("verify", folder, "--json").stdout)["clips"]
    here = json.loads(rushlight("verify", night / "out", "--json").stdout)["clips"]
    assert there in here and there["checks"]["hash"]["verdict"] == "pass" and len(there["files"]) == 3
    assert rushlight("check", folder).returncode == 0


def test_made_again_from_a_closed_delivery(night: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(night / "to" / "editor_002", tmp_path / "editor_002")
    made = rushlight("render", "--from", folder, "--out", tmp_path / "again")
    assert made.returncode == 0, made.stdout + made.stderr
    assert digests(tmp_path / "again") == digests(night / "out")
    assert rushlight("check", folder).returncode == 0
    for words in (
        ("render", "--from", folder),
        ("render", night / "day" / "day.csv", "--recipe", night / "day" / "two.toml", "--out", folder),
        ("report", folder),
    ):
        refused = rushlight(*words)
        assert refused.returncode == 2 and "is the closed delivery editor_002" in refused.stderr, words
    assert rushlight("check", folder).returncode == 0
