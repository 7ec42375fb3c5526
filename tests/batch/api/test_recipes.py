"""A recipe begun is written once, and never over a file; one tried on a chart draws what a night delivers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest

from here import HereFarm, farm_here  # noqa: F401
from rushlight.batch.api.recipes import Answers, new_recipe, try_recipe
from rushlight.batch.doctor.chart_original import GAP, MARGIN, SIDE
from rushlight.pipelines.errors import RushlightError

RECIPE = """
[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "480x270"
card = 2
[output.burnin]
text = [{ at = "bottom", text = "{scene} {timecode}", size = 0.1 }]

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "png8"]
at = ["middle"]
size = "480x270"
"""


@pytest.fixture
def recipe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    file = tmp_path / "ours.toml"
    file.write_text(RECIPE)
    return file


def test_a_recipe_is_read_and_described(recipe: Path) -> None:
    found = try_recipe(recipe)
    assert [(o.name, o.what, o.size) for o in found.outputs] == [
        ("viewing", "h264 mp4", "480x270"),
        ("stills", "stills: jpeg, png8", "480x270"),
    ]
    assert not found.frames


def test_the_chart_is_drawn_by_each_output(recipe: Path, tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    to = tmp_path / "trial"
    found = try_recipe(recipe, to=to)
    assert sorted(p.name for p in to.iterdir()) == [
        "stills.jpg",
        "stills.png",
        "viewing-card.png",
        "viewing.png",
    ]
    assert {f.path for f in found.frames} == set(to.iterdir())
    movie = oiio.ImageBuf(str(to / "viewing.png")).get_pixels(oiio.FLOAT)
    still = oiio.ImageBuf(str(to / "stills.png")).get_pixels(oiio.FLOAT)
    assert movie.shape == still.shape == (270, 480, 3)
    half = SIDE // 8
    for column in range(6):  # the first row of patches: 1920 wide there, 480 here
        y, x = MARGIN[1] // 4 + half, MARGIN[0] // 4 + column * (SIDE + GAP) // 4 + half
        assert movie[y, x] == pytest.approx(still[y, x], abs=0.03)
    bottom = np.abs(movie[235:262, 180:300] - still[235:262, 180:300]).max()
    assert bottom > 0.3, "the burn-in is drawn"
    card = oiio.ImageBuf(str(to / "viewing-card.png")).get_pixels(oiio.FLOAT)
    assert np.abs(card - movie).mean() > 0.05


def test_no_picture_is_replaced(recipe: Path, tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    to = tmp_path / "trial"
    to.mkdir()
    (to / "viewing.png").write_text("mine")
    with pytest.raises(RushlightError, match="is there already"):
        try_recipe(recipe, to=to)
    assert [p.name for p in to.iterdir()] == ["viewing.png"] and (to / "viewing.png").read_text() == "mine"


def test_a_recipe_that_does_not_hold(tmp_path: Path) -> None:
    file = tmp_path / "wrong.toml"
    file.write_text(RECIPE.replace('codec = "h264"', 'codec = "h265"'))
    with pytest.raises(RushlightError, match=r"output\[0\]\.codec"):
        try_recipe(file)


def test_it_is_written_whole(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    text = new_recipe(file)
    assert file.read_text() == text and "[[output]]" in text


def test_a_file_that_is_there_stays(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    file.write_text("mine")
    with pytest.raises(RushlightError, match=r"ours\.toml: is there already"):
        new_recipe(file)
    assert file.read_text() == "mine"


def test_nothing_is_written_of_a_wrong_answer(tmp_path: Path) -> None:
    with pytest.raises(RushlightError):
        new_recipe(tmp_path / "ours.toml", Answers(editorial="x"))
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(RushlightError, match=r"[Nn]o such (file|folder)"):
        new_recipe(tmp_path / "gone" / "ours.toml")


def test_fields_of_burn_in_are_looked_at_without_drawing(recipe: Path) -> None:
    recipe.write_text(RECIPE.replace("{scene}", "{scen}"))
    (note,) = try_recipe(recipe).notes
    assert note.startswith("output[0].burnin.text: {scen} is no field; did you mean {scene}?")
    recipe.write_text(RECIPE.replace("{scene}", "{scene"))
    with pytest.raises(RushlightError, match="brace"):
        try_recipe(recipe)
