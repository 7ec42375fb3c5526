"""Several looks in `plan` and `look`, for a person and for a script."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from here import run, write_list
from pictures import numbered, write_movie
from rushlight.batch.api.look import look
from rushlight.batch.looks.output_looks import output_looks
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import OptionError

RECIPE = """
[looks.hdr]
display = "PQ BT.2100"
[[output]]
name = "main"
make = "movie"
codec = "h264"
size = "128x72"
[[output]]
name = "uhd"
make = "movie"
codec = "hevc-10"
size = "128x72"
look = "hdr"
only = { camera = "A" }
[[output]]
name = "flat"
make = "movie"
codec = "hevc-10"
size = "128x72"
state = "log"
"""


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("looks")
    rows = {"A001C001": {"camera": "A"}, "B001C001": {"camera": "B"}}
    for number, clip in enumerate(rows):
        write_movie(folder / f"{clip}.mov", [numbered(10 * number + n) for n in range(3)])
    (folder / "r.toml").write_text(RECIPE)
    return write_list(folder / "day.csv", rows)


def asked(day: Path, command: str, *more: object) -> tuple[int, str]:
    return run(command, day, *more, "--recipe", day.with_name("r.toml"))


def test_the_document_has_each_output_s_look_where_it_is_not_the_recipe_s(day: Path) -> None:
    code, said = asked(day, "plan", "--json")
    assert code == 0, said
    first, second = json.loads(said)["clips"]
    assert first["looks"]["uhd"] | {"look": {}} == {
        "name": "hdr",
        "show_lut": None,
        "transform": "aces2",
        "shown_by": ["ACES 2.0"],
        "display": "PQ BT.2100",
        "look": {},
    }
    assert first["looks"]["uhd"]["look"] == first["look"] | {"display": "PQ BT.2100"}
    assert "looks" not in second
    (clip, _) = prepare(Request(clip_list=day, recipe=str(day.with_name("r.toml")))).plan.clips
    assert output_looks(clip.looks, clip.shows) == first["looks"]


def test_a_person_is_told_once_for_all_clips(day: Path) -> None:
    said = asked(day, "plan")[1]
    assert "look of uhd: hdr; ACES 2.0 for PQ BT.2100 (1 clip)" in said


def test_look_shows_what_an_output_shows(day: Path) -> None:
    options = {"recipe": str(day.with_name("r.toml"))}
    main, uhd = (look(day, "A001C001", output=name, **options) for name in ("main", "uhd"))  # type: ignore[arg-type]
    assert look(day, "A001C001", **options).digest == main.digest != uhd.digest  # type: ignore[arg-type]
    assert (main.name, uhd.name) == ("", "hdr") and uhd.look.endswith("PQ BT.2100")
    white = max(found["nits"] for found in uhd.colours.values())
    assert white > 1.5 * max(found["nits"] for found in main.colours.values())
    code, said = asked(day, "look", "A001C001", "--output", "uhd")
    assert code == 0 and "shown by uhd, as hdr" in said
    assert json.loads(asked(day, "look", "A001C001", "--output", "main", "--json")[1])["name"] == ""


def test_look_exports_the_output_s_look(day: Path, tmp_path: Path) -> None:
    path = tmp_path / "uhd.cube"
    assert asked(day, "look", "A001C001", "--output", "uhd", "--export", path)[0] == 0
    assert "PQ BT.2100" in path.read_text()


@pytest.mark.parametrize(
    ("clip", "name", "says"),
    [
        ("A001C001", "uhdd", "A001C001.mov has no output 'uhdd'; it has main, uhd, flat"),
        ("B001C001", "uhd", "B001C001.mov has no output 'uhd'; it has main, flat"),
        ("A001C001", "flat", "flat is in state log, which shows no look"),
    ],
)
def test_what_shows_no_look_is_told(day: Path, clip: str, name: str, says: str) -> None:
    with pytest.raises(OptionError, match=says) as found:
        look(day, clip, output=name, recipe=str(day.with_name("r.toml")))
    assert found.value.key == "--output"
