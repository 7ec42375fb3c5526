"""The scripts of docs/scripts do what they say, run as they stand."""

from __future__ import annotations

import json
import re
import runpy
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

import rushlight
from here import HereFarm, farm_here, small_day  # noqa: F401

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = ROOT / "docs" / "scripts"
RECIPE = """
[[output]]
name = "editorial"
make = "movie"
codec = "prores-422"
container = "mov"
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A list of two small clips beside their folder, which the scripts go on with one after the other."""
    folder = tmp_path_factory.mktemp("scripts")
    small_day(folder / "cards", A001C001={"reel": "A001"}, A001C002={"reel": "A002"})
    (folder / "cards" / "two.toml").write_text(RECIPE)
    (folder / "lists").mkdir()
    for name in ("day.csv", "lists/first.csv"):
        (folder / name).write_text((folder / "cards" / "day.csv").read_text())
    (folder / "lists" / "second.csv").write_text("no list\n")
    return folder


def run(place: Path, monkeypatch: pytest.MonkeyPatch, name: str, *arguments: str) -> object:
    """A script's exit code. Its recipe is the small one, of its request or of what it calls."""
    monkeypatch.chdir(place)
    monkeypatch.setenv("XDG_STATE_HOME", str(place / "state"))
    monkeypatch.setattr(sys, "argv", [name, *arguments])
    two = str(place / "cards" / "two.toml")
    for module, call in ((rushlight, "render"), (rushlight, "plan"), (rushlight.queue, "add")):
        real = getattr(module, call)

        def small(*args: object, real: object = real, **options: object) -> object:
            if "from_" not in options:
                options["recipe"] = two
            return real(*args, **options)  # type: ignore[operator]

        monkeypatch.setattr(module, call, small)
    with pytest.raises(SystemExit) as end:
        runpy.run_path(str(SCRIPTS / name), run_name="__main__")
    return end.value.code


def test_evening_render(
    place: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    farm_here: HereFarm,  # noqa: F811
) -> None:
    assert run(place, monkeypatch, "evening_render.py", "day.csv", "cards", "out") == 0
    said = capsys.readouterr().out
    assert said.count("delivered: ") == 2 and "2 delivered, 0 were there, 0 missing; verify:" in said


def test_colour_of_a_day(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(place, monkeypatch, "colour_of_a_day.py", "out", "day.png") == 0
    assert (place / "day.png").read_bytes().startswith(b"\x89PNG")
    assert capsys.readouterr().out == "day.png: 2 clips\n"
    module = runpy.run_path(str(SCRIPTS / "colour_of_a_day.py"))
    assert all(0 < module["mean_colour"](record)[0] < 100 for record in module["delivered"]("out"))


def test_verify_in_pipeline(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(place, monkeypatch, "verify_in_pipeline.py", "out", "good.xml") == 0
    movie = next((place / "out" / "editorial").glob("*.mov"))
    whole = movie.read_bytes()
    movie.write_bytes(whole[:-100] + bytes(100))
    try:
        assert run(place, monkeypatch, "verify_in_pipeline.py", "out", "bad.xml") == 1
    finally:
        movie.write_bytes(whole)
    for name, failures in (("good.xml", 0), ("bad.xml", 1)):
        suite = ElementTree.parse(place / name).getroot()
        assert (suite.get("tests"), suite.get("failures")) == ("2", str(failures))
        assert len(suite.findall("testcase/failure")) == failures


def test_one_reel_again(
    place: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    farm_here: HereFarm,  # noqa: F811
) -> None:
    assert run(place, monkeypatch, "one_reel_again.py", "out", "A002", "cards", "again") == 0
    assert [p.stem for p in (place / "again" / "editorial").glob("*.mov")] == ["A001C002"]
    assert "A001C002.mov: same colour" in capsys.readouterr().out


def test_nightly_farm(
    place: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    farm_here: HereFarm,  # noqa: F811
) -> None:
    assert run(place, monkeypatch, "nightly_farm.py", "lists", "cards", "farm") == 0
    said = capsys.readouterr().out
    assert re.search(r"left out: .*second\.csv", said) and "2 delivered in" in said
    assert len(list((place / "farm" / "first" / "editorial").glob("*.mov"))) == 2


def test_beyond_one_building(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ten workers work; a thousand are held up by the wire, and where that is wide by the runner, where theory says."""
    options = ("--json", "--seconds", "120", "--workers", "10", "1000")
    assert run(place, monkeypatch, "beyond_one_building.py", *options) == 0
    nights = {(n["codec"], n["place"], n["workers"]): n for n in json.loads(capsys.readouterr().out)}
    near, wide, hd = "near", "near, 100 Gbit/s", "ProRes 422 HQ, HD"
    assert nights[hd, near, 10]["working"] > 0.95 and nights[hd, near, 10]["held_by"] == "the work itself"
    assert nights[hd, near, 1000]["held_by"] == "the network" and nights[hd, near, 1000]["network"] <= 10
    runner = nights[hd, wide, 1000]
    assert runner["held_by"] == "the runner"
    assert runner["realtime"] == pytest.approx(2 / 0.009, rel=0.05)  # two seconds a segment, 9 ms each
    dpx = nights["DPX 10 bit, 3840x2160", wide, 10]
    assert dpx["each"] == pytest.approx(3840 * 2160 * 4 * 48 / 0.143 / 48 / 1e6, rel=0.01)


def test_every_script_is_on_the_page_and_here() -> None:
    names = {path.name for path in SCRIPTS.glob("*.py")}
    page, tests = (SCRIPTS / "README.md").read_text(), Path(__file__).read_text()
    assert len(names) == 6 and all(f"({name})" in page and f'"{name}"' in tests for name in names)
