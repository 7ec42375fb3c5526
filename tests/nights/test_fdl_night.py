"""A night with framing decisions through the command: what is delivered of each camera, what is drawn, what is kept, what is refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import av
import numpy as np
import OpenImageIO as oiio
import pytest
from numpy.typing import NDArray

import independent
from framings import canvas, context, decision, write_fdl
from here import rushlight
from logged import latest, read_records
from pictures import frame_of, write_movie

GRID = 32  # pixels of a square: each has a grey of its own
RECIPE = """fdl = "farrow.fdl"
[[output]]
name = "cut"
make = "movie"
codec = "dnxhr-hqx"
frame = { framing = "Theatrical" }
[[output]]
name = "lines"
make = "movie"
codec = "dnxhr-hqx"
size = "512x288"
guides = { framing = ["Theatrical", "Streaming"], protection = true, opacity = 1.0 }
[[output]]
name = "pulls"
make = "stills"
kinds = ["png16"]
frame = { framing = "default", crop = "protection" }
"""
A_CAM = context(
    "A Cam",
    canvas(
        "a",
        (512, 288),
        decision("a", "fi1", (63.6, 64.4, 320.3, 159.8), (32, 32, 384, 224)),
        decision("a", "fi2", (128, 32, 256, 256)),
    ),
)
B_CAM = context("camera_b", canvas("b", (512, 288), decision("b", "fi1", (0, 32, 256, 224)), squeeze=2))


def squares() -> av.VideoFrame:
    """Luma 100 + 5 x column + 40 x row of 32-pixel squares: where a picture was cut can be read from it."""
    luma = np.kron(100 + 5 * np.arange(16)[None, :] + 40 * np.arange(9)[:, None], np.ones((GRID, GRID), int))
    flat = np.full((288, 256), 512)
    return frame_of("yuv422p10le", luma, flat, flat)


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fdl")
    for reel in ("A001", "B001", "C001"):
        write_movie(folder / f"{reel}C001.mov", [squares()] * 2, reel=reel)
    (folder / "day.csv").write_text(
        "clip,encoding\n" + "".join(f"{r}C001.mov,Video Rec.709\n" for r in ("A001", "B001", "C001"))
    )
    write_fdl(folder / "farrow.fdl", A_CAM, B_CAM)
    (folder / "r.toml").write_text(RECIPE)
    run = rushlight(
        "render", folder / "day.csv", "--recipe", folder / "r.toml", "--out", folder / "out", "--workers", 1
    )
    assert run.returncode == 0, run.stdout + run.stderr
    return folder


def records(out: Path) -> dict[str, dict[str, Any]]:
    return {record["clip"][:4]: record for record in latest(read_records(out)).values()}


def luma(out: Path, record: dict[str, Any], output: str) -> NDArray[Any]:
    (entry,) = [entry for entry in record["outputs"] if entry["output"] == output]
    with av.open(str(out / entry["path"])) as movie:
        size = movie.streams.video[0].width, movie.streams.video[0].height
    samples = independent.raw(out / entry["path"], "yuv422p10le", *size)
    return samples[: size[0] * size[1]].reshape(size[1], size[0]).astype(int)


def grey(x: int, y: int) -> int:
    """The original's luma at a pixel, by the rule it was drawn by."""
    return 100 + 5 * (x // GRID) + 40 * (y // GRID)


def test_the_framing_is_delivered_pixel_for_pixel(day: Path) -> None:
    """63.6 and 320.3 across are 64 and 320, even for 4:2:2; 64.4 and 159.8 down are 64 and 160."""
    cut = luma(day / "out", records(day / "out")["A001"], "cut")
    assert cut.shape == (160, 320)
    for x, y in ((16, 16), (304, 16), (16, 144), (304, 144), (160, 80)):
        patch = cut[y - 4 : y + 4, x - 4 : x + 4].mean()
        assert abs(patch - grey(x + 64, y + 64)) <= 3, (x, y, patch)


def test_the_squeeze_of_its_canvas_is_taken_out(day: Path) -> None:
    record = records(day / "out")["B001"]
    cut = luma(day / "out", record, "cut")
    assert cut.shape == (224, 512)  # 256 wide, twice
    assert abs(cut[100:108, 500:508].mean() - grey(252, 136)) <= 3
    assert record["framing"][0]["squeeze"] == 2 and record["framing"][0]["context"] == "camera_b"


def test_stills_are_cropped_to_what_is_protected(day: Path) -> None:
    (entry,) = [e for e in records(day / "out")["A001"]["outputs"] if e["output"] == "pulls"]
    spec = oiio.ImageBuf(str(day / "out" / entry["path"])).spec()
    assert (spec.width, spec.height) == (384, 224)


def test_lines_lie_where_the_decisions_say(day: Path) -> None:
    record = records(day / "out")["A001"]
    drawn = luma(day / "out", record, "lines")
    row = np.flatnonzero(drawn[150, :] > 650)  # through the middle: left and right of the two framings
    for wanted in (64, 128, 383):
        assert np.abs(row - wanted).min() <= 1, (wanted, row)
    column = np.flatnonzero(drawn[:, 100] > 650)
    for wanted in (64, 223):
        assert np.abs(column - wanted).min() <= 1, (wanted, column)
    dashed = drawn[34:254, 32] > 650
    assert 0.4 < dashed.mean() < 0.8  # 12 of 20
    assert not (drawn[100:140, 200:300] > 650).any()
    # No part of the colour: the same picture without lines has the same checksum.
    (plain,) = [p for p in record["colour"]["pictures"] if "lines" in p["outputs"]]
    recipe = RECIPE.replace("protection = true, ", "").replace(', "Streaming"', "")
    (day / "fewer.toml").write_text(recipe)
    run = rushlight(
        "render",
        day / "day.csv",
        "--recipe",
        day / "fewer.toml",
        "--out",
        day / "fewer",
        "--only",
        "clip=A001C001.mov",
        "--workers",
        1,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    other = records(day / "fewer")["A001"]
    assert plain["digest"] in [p["digest"] for p in other["colour"]["pictures"]]
    identities = [{e["output"]: e["identity"] for e in r["outputs"]} for r in (record, other)]
    assert {k for k in identities[0] if identities[0][k] != identities[1][k]} == {"lines"}


def test_a_clip_without_a_decision_is_whole_and_says_so(day: Path) -> None:
    record = records(day / "out")["C001"]
    assert luma(day / "out", record, "cut").shape == (288, 512)
    whole, lines = (w for w in record["warnings"] if w.startswith("unframed"))
    assert "has no context for this clip of camera C; its contexts are 'A Cam', 'camera_b'" in whole
    assert whole.endswith("; delivered with the whole picture: cut, pulls")
    assert lines.endswith("; delivered without its frame line: lines")
    assert "framing" not in record


def test_the_list_is_kept_and_nothing_is_made_again(day: Path) -> None:
    """Made again from the folder alone, list and recipe gone: the same areas and the same colour."""
    kept = list((day / "out" / "log" / "inputs").glob("*.fdl"))
    assert [path.read_bytes() for path in kept] == [(day / "farrow.fdl").read_bytes()]
    run = rushlight(
        "render", day / "day.csv", "--recipe", day / "r.toml", "--out", day / "out", "--workers", 1
    )
    assert run.returncode == 0 and len(read_records(day / "out")) == 3
    for name in ("farrow.fdl", "r.toml"):
        (day / name).rename(day / f"{name}.away")
    try:
        run = rushlight("render", "--from", day / "out", "--out", day / "again", "--workers", 1)
        assert run.returncode == 0, run.stdout + run.stderr
    finally:
        for name in ("farrow.fdl", "r.toml"):
            (day / f"{name}.away").rename(day / name)
    first, again = records(day / "out"), records(day / "again")
    assert {k: r["colour"]["digest"] for k, r in first.items()} == {
        k: r["colour"]["digest"] for k, r in again.items()
    }
    for clip in ("A001", "B001"):
        assert [f["area"] for f in first[clip]["framing"]] == [f["area"] for f in again[clip]["framing"]]


def plan(day: Path, recipe: str = "r.toml", *more: object) -> dict[str, Any]:
    return json.loads(rushlight("plan", day / "day.csv", "--recipe", day / recipe, "--json", *more).stdout)


def test_the_plan_shows_the_framing_and_whose_it_is(day: Path) -> None:
    clips = {clip["clip"][:4]: clip for clip in plan(day)["clips"]}
    found = {f["output"]: f for f in clips["A001"]["framing"]}
    assert found["cut"]["area"] == [64, 64, 320, 160] and found["pulls"]["area"] == [32, 32, 384, 224]
    assert found["lines"]["area"] is None and found["lines"]["lines"] == ["Theatrical", "Streaming"]
    assert found["cut"]["reason"] == "the recipe names the list; its context is the clip's camera"
    assert clips["C001"]["framing"] == []
    page = rushlight("plan", day / "day.csv", "--recipe", day / "r.toml").stdout
    assert "framing: cut Theatrical 320x160+64+64; lines lines of Theatrical, Streaming" in page


def test_a_canvas_of_another_size_sets_its_clip_aside_with_both_sizes(day: Path) -> None:
    big = context("A Cam", canvas("a", (1024, 576), decision("a", "fi1", (0, 0, 512, 288))))
    write_fdl(day / "big.fdl", big, B_CAM)
    (day / "big.toml").write_text(RECIPE.replace("farrow.fdl", "big.fdl"))
    found = plan(day, "big.toml")
    assert sorted(clip["clip"][:4] for clip in found["clips"]) == ["B001", "C001"]
    (problem,) = found["problems"]
    assert problem["kind"] == "set aside" and problem["key"] == "fdl"
    assert (
        "the original is 512x288, and the canvas of" in problem["text"]
        and "1024x576 (A Cam)" in problem["text"]
    )


def test_a_row_and_a_default_name_their_lists(day: Path) -> None:
    """The row before the default, the default before the recipe; `none` is no framing and no note."""
    write_fdl(
        day / "own.fdl", context("any", canvas("c", (512, 288), decision("c", "fi1", (0, 0, 256, 144))))
    )
    (day / "stated.csv").write_text(
        "clip,encoding,fdl\nA001C001.mov,Video Rec.709,own.fdl#any\nB001C001.mov,Video Rec.709,none\nC001C001.mov,Video Rec.709,\n"
    )
    (day / "defaults.toml").write_text('[[default]]\ncamera = "C"\nfdl = "farrow.fdl#A Cam"\n')
    run = rushlight(
        "plan", day / "stated.csv", "--recipe", day / "r.toml", "--defaults", day / "defaults.toml", "--json"
    )
    clips = {clip["clip"][:4]: clip for clip in json.loads(run.stdout)["clips"]}
    a, c = clips["A001"]["framing"][0], clips["C001"]["framing"][0]
    assert a["area"] == [0, 0, 256, 144] and a["reason"] == "the row names the list; the row says so"
    assert c["area"] == [64, 64, 320, 160] and "default[0] names the list" in c["reason"]
    assert clips["B001"]["framing"] == [] and not any("unframed" in w for w in clips["B001"]["warnings"])


def test_a_recipe_may_refuse_clips_without_framing(day: Path) -> None:
    (day / "strict.toml").write_text('unframed = "refuse"\n' + RECIPE)
    found = plan(day, "strict.toml")
    (problem,) = [p for p in found["problems"] if p["clip"].startswith("C001")]
    assert problem["key"] == "output[0].frame" and "refuses clips without framing" in problem["text"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            'framing = "Theatrical" }',
            'framing = "1.85" }',
            "has no framing intent '1.85'; it has 'Theatrical' (fi1)",
        ),
        ('"farrow.fdl"', '"gone.fdl"', "gone.fdl: fdl: cannot be read: No such file"),
        ('"farrow.fdl"', '"day.csv"', "day.csv:1: fdl: is no framing decision list, which is JSON"),
        ('framing = "Theatrical" }', "crop = 'protection' }", "`framing` says of which intent"),
        (
            'framing = "Theatrical" }',
            'framing = "fi1", desqueeze = 2.0 }',
            "takes `framing` or `desqueeze`, not both",
        ),
        ('kinds = ["png16"]', 'kinds = ["png16"]\nguides = { framing = ["fi1"] }', "stills have no burn-in"),
    ],
)
def test_what_will_not_do_is_said_before_the_night(day: Path, old: str, new: str, words: str) -> None:
    (day / "wrong.toml").write_text(RECIPE.replace(old, new, 1))
    run = rushlight("plan", day / "day.csv", "--recipe", day / "wrong.toml")
    assert run.returncode != 0
    assert words in " ".join((run.stdout + run.stderr).split())


def test_a_list_by_name_under_the_grades_is_kept_as_well(day: Path) -> None:
    shelf = day / "shelf"
    shelf.mkdir()
    write_fdl(
        shelf / "stage.fdl", context("any", canvas("c", (512, 288), decision("c", "fi1", (0, 0, 256, 144))))
    )
    (day / "named.toml").write_text(
        RECIPE.replace('"farrow.fdl"', '"stage"').partition('[[output]]\nname = "lines"')[0]
    )
    asked = ("--only", "clip=A001C001.mov", "--workers", 1)
    run = rushlight(
        "render",
        day / "day.csv",
        "--recipe",
        day / "named.toml",
        "--grades",
        shelf,
        "--out",
        day / "named",
        *asked,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    (shelf / "stage.fdl").unlink()
    shelf.rmdir()
    run = rushlight("render", "--from", day / "named", "--out", day / "named again", "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    first, again = records(day / "named")["A001"], records(day / "named again")["A001"]
    assert first["framing"][0]["area"] == again["framing"][0]["area"] == [0, 0, 256, 144]
    assert first["colour"]["digest"] == again["colour"]["digest"]


def test_a_written_list_frames_alike(day: Path) -> None:
    """`plan --write` states the list of a default by its place; two rows of a clip that differ in it are two clips."""
    (day / "default.toml").write_text('[[default]]\ncamera = "C"\nfdl = "farrow.fdl#A Cam"\n')
    asked = ("--recipe", day / "r.toml", "--write", day / "written.csv", "--defaults", day / "default.toml")
    assert rushlight("plan", day / "day.csv", *asked).returncode == 0
    assert f"{day / 'farrow.fdl'}#A Cam" in (day / "written.csv").read_text()
    run = rushlight("plan", day / "written.csv", "--recipe", day / "r.toml", "--json")
    clips = {clip["clip"][:4]: clip for clip in json.loads(run.stdout)["clips"]}
    assert clips["C001"]["framing"][0]["area"] == [64, 64, 320, 160]
    (day / "twice.csv").write_text(
        "clip,encoding,fdl\nA001C001.mov,Video Rec.709,\nA001C001.mov,Video Rec.709,none\nA001C001.mov,Video Rec.709,\n"
    )
    found = json.loads(rushlight("plan", day / "twice.csv", "--recipe", day / "r.toml", "--json").stdout)
    assert found["counts"]["planned"] == 2 and found["counts"]["alike"] == 1


def test_the_page_says_the_framing(day: Path) -> None:
    page = (day / "out" / "report" / "index.html").read_text()
    assert "Framing: cut Theatrical 320x160+64+64; lines lines of Theatrical, Streaming" in page


def test_what_is_wrong_with_a_rows_list_is_said_at_the_row(day: Path) -> None:
    (day / "none.fdl").write_text('{\n"uuid": 1')
    (day / "wrong.csv").write_text(
        "clip,encoding,fdl\nA001C001.mov,Video Rec.709,none.fdl\nB001C001.mov,Video Rec.709,farrow.fdl#X\n"
    )
    run = rushlight("plan", day / "wrong.csv", "--recipe", day / "r.toml", "--json")
    first, second = json.loads(run.stdout)["problems"]
    assert (first["file"], first["line"], first["key"]) == (str(day / "wrong.csv"), 2, "fdl")
    assert first["text"].startswith(f"{day / 'none.fdl'}:2: is no framing decision list, which is JSON")
    assert (second["line"], second["key"]) == (3, "fdl")
    assert second["text"].endswith(
        "farrow.fdl has no context and no canvas 'X'; its contexts are 'A Cam', 'camera_b'"
    )
