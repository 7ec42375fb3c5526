"""Test clips for receivers: every area has the codes of its table, read by FFmpeg; the patches are those that a night delivers; tags are the recipe's."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

import independent
from browsers import stopped
from here import HereFarm, farm_here, run  # noqa: F401
from rushlight.batch.api.recipes import make_test_clips
from rushlight.batch.doctor.receiver_clip import areas_of
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.outputs.readback import read_back

SIZE = (480, 270)
RECIPE = """
[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "480x270"
card = 2
transfer_tag = 13
[output.burnin]
text = [{ at = "bottom", text = "{scene} {timecode}", size = 0.1 }]
watermark = "FOR REVIEW"

[[output]]
name = "editorial"
make = "movie"
codec = "prores-422"
size = "480x270"

[[output]]
name = "hdr"
make = "movie"
codec = "hevc-10"
container = "mov"
size = "480x270"
display = "PQ BT.2100"

[[output]]
name = "codes"
make = "movie"
state = "log"
codec = "prores-422"
size = "480x270"
"""
FORMATS = {"viewing.mp4": "yuv420p", "editorial.mov": "yuv422p10le", "hdr.mov": "yuv420p10le"}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the recipe's test clips."""
    folder = tmp_path_factory.mktemp("clips")
    (folder / "ours.toml").write_text(RECIPE)
    code, said = run("recipes", "--test-clip", folder / "ours.toml", "--to", folder / "clips", "--json")
    assert code == 0, said
    document = json.loads(said)
    assert [movie["output"] for movie in document["movies"]] == ["viewing", "editorial", "hdr"]
    assert [movie["tags"] for movie in document["movies"]] == [
        "1-13-1 narrow (sRGB)",
        "1-1-1 narrow (BT.709)",
        "9-16-9 narrow (PQ)",
    ]
    return folder / "clips"


def rows_of(file: Path) -> dict[str, dict[str, str]]:
    with file.open(newline="") as lines:
        return {row["area"]: row for row in csv.DictReader(lines)}


@pytest.mark.parametrize("name", FORMATS)
def test_every_area_has_the_codes_of_its_table(made: Path, name: str) -> None:
    """As FFmpeg decodes them, chroma brought to every pixel by the nearest; a codec's loss is a code of eight bits or two."""
    pixel_format = FORMATS[name].replace("420", "444").replace("422", "444")
    planes = independent.raw(made / name, pixel_format, *SIZE).reshape(3, SIZE[1], SIZE[0])
    unit, seen = 4 if "10" in FORMATS[name] else 1, rows_of((made / name).with_suffix(".csv"))
    assert len(seen) == 24 + 11 + 8
    for area, row in seen.items():
        x, y, w, h = (int(row[key]) for key in ("x", "y", "width", "height"))
        found = [float(np.mean(plane[y : y + h, x : x + w])) for plane in planes]
        wanted = [int(row[key]) for key in ("code Y'", "code Cb", "code Cr")]
        assert found == pytest.approx(wanted, abs=2 * unit), area


def test_published_codes_of_bars(made: Path) -> None:
    """75 % bars in eight bits (SMPTE RP 219-1, from memory), the ends of the greys, and graphics white in PQ (ITU-R BT.2408-7, table 1)."""
    seen, hdr = rows_of(made / "viewing.csv"), rows_of(made / "hdr.csv")
    codes = {
        area: tuple(int(row[k]) for k in ("code Y'", "code Cb", "code Cr")) for area, row in seen.items()
    }
    assert codes["bar white"] == (180, 128, 128) and codes["bar yellow"] == (168, 44, 136)
    assert codes["bar green"] == (133, 63, 52) and codes["bar red"] == (51, 109, 212)
    assert codes["grey step 0"] == (16, 128, 128) and codes["grey step 10"] == (235, 128, 128)
    assert float(seen["grey step 10"]["cd/m2"]) == 100
    assert float(hdr["bar white"]["cd/m2"]) == pytest.approx(203, abs=2)
    assert float(hdr["grey step 10"]["cd/m2"]) == pytest.approx(find_display("PQ BT.2100").peak, rel=0.01)


def test_tags_are_as_delivered(made: Path) -> None:
    tags = {name: read_back(made / name) for name in FORMATS}
    assert [tags[name].tags for name in FORMATS] == [
        (1, 13, 1, "narrow"),
        (1, 1, 1, "narrow"),
        (9, 16, 9, "narrow"),
    ]
    assert tags["hdr.mov"].light is not None and not tags["viewing.mp4"].sound
    assert {tags[name].frames for name in FORMATS} == {48}


def test_patches_are_those_that_a_night_delivers(made: Path, tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    """The chart as `--check` makes it through the whole night, against the table's R'G'B'."""
    import OpenImageIO as oiio

    from rushlight.batch.doctor.chart_original import GAP, MARGIN, SIDE

    recipe = tmp_path / "ours.toml"
    recipe.write_text(RECIPE.partition('[[output]]\nname = "hdr"')[0])
    assert run("recipes", "--check", recipe, "--to", tmp_path / "trial")[0] == 0
    picture = oiio.ImageBuf(str(tmp_path / "trial" / "editorial.png")).get_pixels(oiio.FLOAT)
    for number, row in enumerate(list(rows_of(made / "editorial.csv").values())[:24]):
        down, across = divmod(number, 6)
        y, x = (MARGIN[k] // 4 + n * (SIDE + GAP) // 4 + SIDE // 8 for k, n in ((1, down), (0, across)))
        wanted = [float(row[key]) for key in ("R'", "G'", "B'")]
        assert picture[y, x] == pytest.approx(wanted, abs=0.015), row["area"]


def test_the_page_has_every_value_and_loads_nothing(made: Path) -> None:
    page = (made / "test-clips.html").read_text()
    assert stopped(page) == []
    for row in rows_of(made / "viewing.csv").values():
        assert f"<td>{row['area']}</td>" in page
        assert f"{row['code Y' + chr(39)]} {row['code Cb']} {row['code Cr']}" in page
    assert "1-13-1 narrow (sRGB)" in page and 'href="viewing.mp4"' in page


@pytest.mark.parametrize("size", [(480, 270), (1920, 1080), (256, 144), (3840, 2160), (720, 576)])
def test_areas_lie_inside_and_do_not_touch_each_other_s_pixels(size: tuple[int, int]) -> None:
    width, height = size
    seen = np.zeros((height, width), int)
    for x, y, w, h in areas_of(width, height).values():
        assert min(w, h) >= 8 and not (x % 2 or y % 2 or w % 2 or h % 2)
        seen[y : y + h, x : x + w] += 1
    assert seen.max() == 1 and not seen[-1].any() and not seen[:, -1].any()


def test_no_file_is_replaced_and_a_recipe_without_movies_says_so(tmp_path: Path) -> None:
    recipe = tmp_path / "stills.toml"
    recipe.write_text('[[output]]\nname = "a"\nmake = "stills"\nkinds = ["png8"]\nsize = "320x180"\n')
    with pytest.raises(RushlightError, match="makes no movie for a display"):
        make_test_clips(recipe, to=tmp_path / "clips")
    recipe.write_text('ungraded = "refuse"\n' + RECIPE)
    with pytest.raises(RushlightError, match="the chart could not be made by it"):
        make_test_clips(recipe, to=tmp_path / "clips")
    recipe.write_text(RECIPE.partition('[[output]]\nname = "hdr"')[0])
    (tmp_path / "clips").mkdir()
    (tmp_path / "clips" / "viewing.mp4").write_text("mine")
    with pytest.raises(RushlightError, match="is there already"):
        make_test_clips(recipe, to=tmp_path / "clips")
    assert [path.read_text() for path in (tmp_path / "clips").iterdir()] == ["mine"]
    code, said = run("recipes", "--test-clip", recipe)
    assert code == 2 and "--to FOLDER" in said
